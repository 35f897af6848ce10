// The place "setting": dials with the colours along them, the predicted colour and its spread; and settings for a colour.
import { post, load, download } from './api.js';
import { attempt, by, choices, figure, fill, lab, latest, list, make, marks, ofKind, onFiles, refreshFiles, say, swatch, warning } from './dom.js';

const STEPS = 1000;
let state = {};
let dials = {};

export function start() {
  const file = by('model-file');
  by('model-load').addEventListener('click', () => file.click());
  file.addEventListener('change', () => attempt(async () => {
    const known = await load('model', file.files[0]);
    file.value = '';
    await refreshFiles();
    by('setting-model').value = known.id;
    await useModel();
  }));
  by('setting-model').addEventListener('change', () => attempt(useModel));
  by('setting-save').addEventListener('click', () => attempt(async () => download(await post('setting/save', { model: state.model, setting: setting() }))));
  by('find-go').addEventListener('click', () => attempt(find));
  by('wish').addEventListener('input', () => { for (const name of 'lab') by(`wish-${name}`).value = ''; });
  onFiles(() => {
    choices(by('setting-model'), ofKind('model'), { none: ofKind('model').length ? undefined : 'none on the desk', chosen: state.model });
    const none = ofKind('model').length === 0;
    by('setting-empty').hidden = !none;
  });
}

export async function restore(shown) {
  if (shown.model) {
    state = shown;
    showDials();
    if (shown.wish) showFound(shown.wish);
  }
}

export function shown() {
  if (!state.model && by('setting-model').value) attempt(useModel);
  else if (state.model) requestAnimationFrame(drawStrips);
}

async function useModel() {
  const wanted = by('setting-model').value;
  const answer = await post('setting/model', { model: wanted });
  if (by('setting-model').value !== wanted) return; // another was chosen meanwhile
  state = answer;
  fill(by('found'));
  showDials();
}

function showDials() {
  by('setting-model').value = state.model;
  by('setting-body').hidden = by('find').hidden = false;
  dials = {};
  const moved = state.dials.filter((dial) => !dial.steady).map(makeDial);
  const steady = state.dials.filter((dial) => dial.steady).map(makeDial);
  fill(by('dials'), ...moved, steady.length > 0 && make('h3', {}, 'Never varied in this grid, so not learned'), ...steady);
  list(by('setting-cautions'), state.cautions);
  for (const [field, value] of Object.entries(state.setting)) put(field, value);
  update();
}

const short = (value) => String(Number(value.toPrecision(3))).replace('-', '−');
const even = (dial) => dial.field === 'focus_mm' || dial.field === 'hatch_deg';

// Place on the dial 0..1 of a value, and back: even steps of the logarithm, as a dial is felt; steps of single values.
function share(dial, value) {
  if (dial.values.length) return dial.values.indexOf(nearest(dial.values, value)) / Math.max(1, dial.values.length - 1);
  return even(dial) ? (value - dial.low) / (dial.high - dial.low) : Math.log(value / dial.low) / Math.log(dial.high / dial.low);
}

function valueAt(dial, part) {
  if (dial.values.length) return dial.values[Math.round(part * (dial.values.length - 1))];
  const value = even(dial) ? dial.low + part * (dial.high - dial.low) : dial.low * (dial.high / dial.low) ** part;
  return Math.min(Math.max(Number(value.toPrecision(3)), dial.low), dial.high);
}

const nearest = (values, value) => values.reduce((best, each) => (Math.abs(each - value) < Math.abs(best - value) ? each : best));

function makeDial(dial) {
  const id = `dial-${dial.field}`;
  const unit = dial.unit || (dial.field === 'passes' ? '×' : '');
  const single = dial.values.length > 0;
  const slider = make('input', { type: 'range', id: `${id}-range`, min: '0', max: String(single ? dial.values.length - 1 : STEPS), ariaLabel: `${dial.words}, dial` });
  const number = make('input', { type: 'number', id, step: 'any', min: String(dial.low), max: String(dial.high) });
  const strip = make('canvas', { width: 400, height: 1, role: 'img', ariaLabel: `colours along ${dial.words}` });
  const seen = make('i');
  const parts = single ? dial.values.length - 1 : STEPS;
  slider.addEventListener('input', () => { number.value = valueAt(dial, Number(slider.value) / parts); tell(dial, slider); update(); });
  number.addEventListener('change', () => {
    const value = Number(number.value);
    put(dial.field, Number.isFinite(value) ? Math.min(Math.max(single ? nearest(dial.values, value) : value, dial.low), dial.high) : dial.seen_low);
    update();
  });
  const [from, to] = [share(dial, dial.seen_low), share(dial, dial.seen_high)];
  seen.style.left = `${100 * from}%`;
  seen.style.width = `${Math.max(0.5, 100 * (to - from))}%`;
  dials[dial.field] = { dial, slider, number, strip, parts };
  return make('div', { className: 'dial' },
    make('p', { className: 'row' }, make('label', { htmlFor: id }, dial.words[0].toUpperCase() + dial.words.slice(1), make('small', { className: 'quiet' }, ` ${short(dial.low)} to ${short(dial.high)} ${unit}`)), make('span', {}, number, ` ${unit}`)),
    slider, make('div', { className: 'strip' }, strip), make('div', { className: 'seen', title: 'where the grid was marked' }, seen));
}

const tell = (dial, slider) => slider.setAttribute('aria-valuetext', `${valueAt(dial, Number(slider.value) / dials[dial.field].parts)} ${dial.unit}`);

function put(field, value) {
  const { dial, slider, number, parts } = dials[field];
  number.value = value;
  slider.value = Math.round(share(dial, value) * parts);
  tell(dial, slider);
}

const setting = () => Object.fromEntries(Object.entries(dials).map(([field, { number }]) => [field, Number(number.value)]));

let strips = null;
const update = latest(async () => {
  const answer = await post('setting/colour', { model: state.model, setting: setting() });
  by('predicted').style.background = answer.hex;
  fill(by('marks'), ...answer.marks.map((colour) => make('i', { colour })));
  fill(by('colour-said'),
    make('p', { className: 'headline' }, `${lab(answer.lab)}, ± ${figure(answer.de00_90)} ΔE00`),
    make('p', {}, `9 of 10 fresh marks land within ± ${figure(answer.de00_90)} of the prediction (2 is just noticeable). `, `The colour shifts by ${figure(answer.sensitivity_de00)} when the machine strays by ${state.jitter}.`),
    make('p', {}, make('strong', {}, answer.setting.words), ` · ${figure(answer.time_s_cm2)} s/cm²`),
    ...answer.remarks.map((line) => warning(line)), ...state.remarks.map((line) => make('p', { className: 'quiet' }, line)));
  by('predicted').dataset.model = state.model;
  fill(by('quantities'), ...answer.quantities.flatMap((each) => [make('dt', {}, each.words), make('dd', {}, each.name.endsWith('overlap') ? `${figure(100 * each.value)} %` : `${each.value} ${each.unit}`)]));
  strips = answer.strips;
  drawStrips();
});

function drawStrips() {
  if (!strips) return;
  for (const [field, { strip }] of Object.entries(dials)) {
    const colours = strips[field].hex;
    const context = strip.getContext('2d');
    colours.forEach((colour, i) => {
      context.fillStyle = colour;
      const [from, to] = [Math.floor(i * strip.width / colours.length), Math.ceil((i + 1) * strip.width / colours.length)];
      context.fillRect(from, 0, to - from, 1);
    });
  }
}

async function find() {
  const values = ['l', 'a', 'b'].map((name) => by(`wish-${name}`).value);
  const typed = values.every((value) => value !== '');
  if (!typed && values.some((value) => value !== '')) { say('CIELAB needs all three: L, a and b.', true); return; }
  const wish = typed ? { lab: { L: Number(values[0]), a: Number(values[1]), b: Number(values[2]) } } : { hex: by('wish').value };
  showFound(await post('setting/find', { model: state.model, n: 6, ...wish }));
  by('found').scrollIntoView({ block: 'nearest' });
}

function showFound(answer) {
  const head = answer.reachable ? 'Within reach. The safest first:' : `Out of reach on this stock: the nearest predicted colour is ΔE00 ${figure(answer.nearest_de00)} away.`;
  fill(by('found'),
    answer.reachable ? make('p', { className: 'sum' }, head) : warning(head),
    make('p', { className: 'caution' }, document.querySelector('[data-caution]').textContent),
    make('div', { className: 'scroll', tabIndex: 0, role: 'region', ariaLabel: 'Table of settings' }, make('table', {},
      make('thead', {}, make('tr', {}, ...[['Wished, predicted', ''], ['Marks as they may come out', ''], ['Off by', 'ΔE00'], ['9 of 10 in', '± ΔE00'], ['Strays by', 'ΔE00'], ['Time', 's/cm²'], ['Setting', ''], ['Measured', 'patch']].map(([words, unit]) => make('th', { scope: 'col', className: unit && unit !== 'patch' ? 'num' : '' }, words, unit && make('br'), unit && make('small', {}, unit))), make('th', { scope: 'col' }, make('span', { className: 'hide' }, 'Use')))),
      make('tbody', {}, ...answer.candidates.map((each) => make('tr', {},
        make('th', { scope: 'row' }, swatch(answer.wish_hex, each.hex)), make('td', {}, marks(each.marks)), make('td', { className: 'num' }, figure(each.de00)), make('td', { className: 'num' }, figure(each.de00_90)),
        make('td', { className: 'num' }, figure(each.sensitivity_de00)), make('td', { className: 'num' }, figure(each.time_s_cm2)), make('td', {}, each.words), make('td', {}, each.patch || '–'),
        make('td', {}, make('button', { type: 'button', className: 'small', onclick: () => use(each.setting) }, 'Set the dials'))))))),
    make('p', { className: 'quiet' }, `Strays by: mean shift under ${answer.jitter}.`));
}

function use(values) {
  for (const [field, value] of Object.entries(values)) put(field, value);
  update();
  by('setting-title').scrollIntoView();
}
