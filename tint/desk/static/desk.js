// Starts the page: places, light and dark, state after a reload.
import { onOtherWindow } from './api.js';
import { by, make, refreshFiles, say, attempt } from './dom.js';
import * as artwork from './artwork.js';
import * as stock from './stock.js';
import * as setting from './setting.js';
import * as check from './check.js';

const places = { artwork, stock, setting, check };

function show() {
  const name = location.hash.slice(1) in places ? location.hash.slice(1) : 'artwork';
  for (const place of Object.keys(places)) by(place).hidden = place !== name;
  for (const link of document.querySelectorAll('nav a')) {
    if (link.hash === `#${name}`) link.setAttribute('aria-current', 'page');
    else link.removeAttribute('aria-current');
  }
  document.title = `${name} · tint desk`;
  places[name].shown?.();
}

function look() {
  const select = by('look');
  select.value = localStorage.getItem('tint-look') ?? '';
  const apply = () => {
    if (select.value) document.documentElement.dataset.look = select.value;
    else delete document.documentElement.dataset.look;
    localStorage.setItem('tint-look', select.value);
  };
  select.addEventListener('change', apply);
  apply();
}

// What another window changed is old here; trying settings out changes nothing that others show.
const KEPT_APART = ['setting', 'work'];
function changedElsewhere(place) {
  if (KEPT_APART.includes(place)) return;
  const reload = () => location.reload();
  if (document.hidden) addEventListener('visibilitychange', reload, { once: true });
  else say(`Something was changed under “${place}” in another window; this one shows it as it was.`, true, make('button', { type: 'button', className: 'small', onclick: reload }, 'Reload'));
}

// What went wrong is said until the next step, which it would else seem to speak of. What offers a way out (Reload) stays.
function forgetOnNextStep() {
  document.addEventListener('click', (event) => {
    const said = by('said');
    const onlyClose = said.querySelectorAll('button').length === 1;
    if (said.classList.contains('wrong') && onlyClose && !said.contains(event.target) && event.target.closest('button, a')) say('');
  }, { capture: true });
}

async function start() {
  look();
  forgetOnNextStep();
  for (const place of Object.values(places)) place.start();
  const state = await attempt(refreshFiles);
  if (!state) return;
  for (const element of document.querySelectorAll('[data-caution]')) element.textContent = state.caution;
  for (const element of document.querySelectorAll('[data-screen]')) element.textContent = state.screen;
  addEventListener('hashchange', show);
  show();
  await Promise.all(Object.entries(places).map(([name, place]) =>
    attempt(() => place.restore(state.places[name], state.works.find((work) => work.place === name)))));
  onOtherWindow(changedElsewhere);
  document.body.dataset.ready = 'yes';
}

start().catch((error) => say(error.message, true));
