// Small tools for the page's elements, and what all places share: files, messages, long work.
import { get, post } from './api.js';

export const by = (id) => document.getElementById(id);

// Element with properties, listeners (on...) and children; text only, never markup.
export function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === undefined || value === null) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else if (name === 'colour') element.style.background = value;
    else if (name in element && name !== 'list') element[name] = value;
    else element.setAttribute(name, value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const fill = (element, ...children) => element.replaceChildren(...children.flat().filter(Boolean));

let saidTimer;
export function say(text, wrong = false, ...more) {
  const place = by('said');
  place.className = wrong ? 'said wrong' : 'said';
  fill(place, text, ...more, text && make('button', { type: 'button', className: 'small', onclick: () => say('') }, 'Close'));
  clearTimeout(saidTimer);
  if (text && !wrong) saidTimer = setTimeout(() => say(''), 6000);
}

// Runs something; what goes wrong is said. Gives undefined then.
export async function attempt(work) {
  try {
    return await work();
  } catch (error) {
    say(error.message, true);
    return undefined;
  }
}

// Calls at most one at a time; of those that come meanwhile only the last is made.
export function latest(work) {
  let busy = false;
  let next = null;
  return async function run(...values) {
    if (busy) { next = values; return; }
    busy = true;
    try { await attempt(() => work(...values)); } finally { busy = false; }
    if (next) { const again = next; next = null; run(...again); }
  };
}

export function soon(work, wait = 120) {
  let timer;
  return (...values) => { clearTimeout(timer); timer = setTimeout(() => work(...values), wait); };
}

// ---- files on the desk
export const files = [];
const watchers = [];
export function onFiles(show) { watchers.push(show); }
export async function refreshFiles() {
  const state = await get('state');
  files.splice(0, files.length, ...state.files);
  watchers.forEach((show) => show());
  return state;
}
export const ofKind = (...kinds) => files.filter((file) => kinds.includes(file.kind));

// Options of a select: those there are, the chosen one kept.
export function choices(select, list, { none, chosen } = {}) {
  const before = chosen ?? select.value;
  const made = list.map((item) => make('option', { value: item.id }, item.name));
  fill(select, none !== undefined ? make('option', { value: '' }, none) : null, ...made);
  if ([...select.options].some((option) => option.value === before)) select.value = before;
}

// ---- long work
export async function watch(work, place, done) {
  const seconds = make('span', { className: 'quiet' });
  const line = make('span');
  const stop = make('button', { type: 'button', className: 'small', onclick: () => attempt(() => post('work/stop', { work: work.id })) }, 'Stop');
  const box = make('div', { className: 'work' }, make('p', {}, make('strong', {}, work.what), ' ', line, ' ', seconds), make('progress', { 'aria-label': work.what }), stop);
  fill(place, box);
  let now = work;
  while (now.state === 'running') {
    line.textContent = now.said.at(-1) ?? 'starting';
    seconds.textContent = `${Math.round(now.seconds)} s`;
    await new Promise((wake) => setTimeout(wake, 400));
    const told = await attempt(() => get('work', { work: work.id }));
    if (!told) break;
    now = told;
  }
  if (now.state === 'done') { fill(place); await refreshFiles(); done(now.answer); }
  else if (now.state === 'stopped') { fill(place, make('p', { className: 'quiet' }, `${now.what}: stopped`)); }
  else { fill(place, warning(`${now.what}: ${now.error || 'no answer'}`)); }
}

// ---- pieces
export const warning = (text, ...more) => make('p', { className: 'warn' }, text, ...more);
export const swatch = (...colours) => make('span', { className: 'swatch' }, make('span', { className: 'two' }, ...colours.map((colour) => make('i', { colour }))));
export const list = (element, lines) => fill(element, ...lines.map((line) => make('li', {}, line)));
export const lab = (values) => `L ${values[0].toFixed(0)}  a ${signed(values[1])}  b ${signed(values[2])}`;
export const signed = (value) => (value < -0.5 ? '−' : '+') + Math.abs(value).toFixed(0);
export const figure = (value, digits = 1) => (value === null || value === undefined ? '–' : value.toFixed(digits).replace('-', '−'));
export const marks = (colours) => make('span', { className: 'mini', role: 'img', ariaLabel: 'marks as they may come out' }, ...colours.map((colour) => make('i', { colour })));
