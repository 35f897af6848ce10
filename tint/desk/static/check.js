// The place "check": a strip against its palette's promise, drift over time, new versions.
import { post, load, download } from './api.js';
import { attempt, by, choices, figure, fill, make, ofKind, onFiles, refreshFiles, say, swatch, warning } from './dom.js';

let state = {};

export function start() {
  const file = by('check-file');
  by('check-load').addEventListener('click', () => file.click());
  file.addEventListener('change', () => attempt(() => loadAny(file.files[0])).finally(() => { file.value = ''; }));
  by('check-go').addEventListener('click', () => attempt(() => judge(false)));
  by('strip-go').addEventListener('click', () => attempt(async () => {
    const answer = await post('check/strip', { palette: need('check-palette', 'a palette'), replicates: Number(by('strip-n').value) });
    await refreshFiles();
    by('check-grid').value = answer.grid.id;
    fill(by('strip-out'), make('div', { className: 'work' }, make('p', {}, `${answer.patches} squares. Keep to the order in settings.csv; fill in reading.csv, and load it here.`),
      make('p', {}, make('button', { type: 'button', className: 'main', onclick: () => attempt(() => download(answer.file)) }, `Download ${answer.file.name}`)),
      make('ul', {}, ...answer.cautions.map((line) => make('li', {}, line)))));
  }));
  onFiles(() => {
    choices(by('check-palette'), ofKind('palette'), { none: ofKind('palette').length ? undefined : 'none on the desk', chosen: state.palette });
    choices(by('check-strip'), ofKind('patches', 'reading'), { none: 'choose', chosen: state.strip });
    choices(by('check-grid'), ofKind('grid'), { none: 'none: the table says it all' });
  });
}

export async function restore(shown) {
  state = shown;
  show();
}

export function shown() { drawDrift(); }

function need(id, what) {
  if (!by(id).value) throw new Error(`Choose ${what} first.`);
  return by(id).value;
}

async function loadAny(file) {
  const text = await file.slice(0, 4000).text();
  const kind = file.name.endsWith('.json') ? 'palette' : /power_pct/.test(text) ? 'patches' : 'reading';
  const known = await load(kind, file);
  await refreshFiles();
  by(kind === 'palette' ? 'check-palette' : 'check-strip').value = known.id;
  say(`${known.name} is on the desk`);
}

async function judge(remap) {
  state = await post('check/judge', {
    palette: need('check-palette', 'a palette'), strip: need('check-strip', 'a strip'), grid: by('check-grid').value || null,
    tolerance_de00: by('check-tolerance').value === '' ? null : Number(by('check-tolerance').value), remap,
  });
  show();
}

const when = (text) => text.slice(0, 16).replace('T', ' ');

function show() {
  const body = by('check-body');
  if (!state.check) { fill(body); return; }
  const { check, offer } = state;
  const heat = check.heat;
  fill(body,
    make('p', { className: `verdict ${check.verdict}`, id: 'verdict' }, check.said),
    make('p', {}, `${state.palette_name}, version ${check.version}, against ${state.strip_name}. Mean ΔE00 ${figure(check.mean_de00)}, largest ${figure(check.most_de00)}.`),
    ...(check.verdict === 'within' ? [] : check.next.map((line) => make('p', { className: 'sum' }, line))),
    heat && make('p', {}, `All together as a change of heat: ${figure(heat.pct, 2)} % of power, ± ${figure(heat.sd_pct, 2)} (watch beyond ± ${figure(heat.watch_pct, 2)}, out beyond ± ${figure(heat.out_pct, 2)}).`),
    !check.measured && make('p', { className: 'quiet' }, 'The promise is still what the model predicts. Accept a good first strip, and smaller drifts can be seen.'),
    ...state.said.map((line) => warning(line)),
    check.scratched.length > 0 && warning(`Taken for scratched, left out: ${check.scratched.join(', ')}`),
    make('div', { className: 'scroll', tabIndex: 0, role: 'region', ariaLabel: 'Colours of the strip' }, make('table', { id: 'check-colours' },
      make('thead', {}, make('tr', {}, ...[['Promised, measured', ''], ['Off by', 'ΔE00'], ['Uncertain', '± ΔE00'], ['Watch beyond', 'ΔE00'], ['Out beyond', 'ΔE00'], ['Marks', 'number'], ['Verdict', '']].map(([words, unit], i) => make('th', { scope: 'col', className: i && i < 6 ? 'num' : '' }, words, unit && make('br'), unit && make('small', {}, unit))))),
      make('tbody', {}, ...check.colours.map((colour) => make('tr', {},
        make('th', { scope: 'row' }, make('span', { className: 'row start' }, swatch(colour.promise_hex, colour.hex), `${colour.number} ${colour.name}`)),
        ...['de00', 'sd_de00', 'watch_de00', 'out_de00'].map((name) => make('td', { className: 'num' }, figure(colour[name], 2))), make('td', { className: 'num' }, String(colour.marks)),
        make('td', {}, colour.verdict === 'within' ? colour.verdict : make('strong', {}, colour.verdict))))))),
    ...check.remarks.map((line) => make('p', { className: 'quiet' }, line)),
    make('p', { className: 'caution' }, document.querySelector('[data-caution]').textContent),
    offer ? showOffer(offer) : state.refused ? warning(state.refused) : null,
    make('p', { className: 'row start' },
      make('button', { type: 'button', id: 'check-record', disabled: state.recorded, onclick: () => attempt(async () => { state = await post('check/record'); show(); }) }, state.recorded ? 'Recorded in the history' : 'Record this strip in the history'),
      make('button', { type: 'button', id: 'check-accept', onclick: () => attempt(() => version('accept')) }, 'Accept this strip as the promise'),
      offer && make('button', { type: 'button', className: 'main', id: 'check-correct', onclick: () => attempt(() => version('correct')) }, 'Take the corrected palette')),
    make('p', { className: 'quiet' }, state.stays ? 'The history is kept beside the palette\'s file; the palette itself is never changed.' : 'This palette was loaded: its history ends with the desk. Start the desk in the palette\'s folder to keep one.'),
    state.version && make('div', { className: 'work' }, make('p', {}, `Version ${state.version.number}: ${state.version.reason}.`),
      make('p', {}, make('button', { type: 'button', className: 'main', id: 'version-download', onclick: () => attempt(() => download(state.version.file)) }, `Save ${state.version.file.name}`))),
    make('h2', {}, 'Drift over time'),
    state.history.strips.length ? make('figure', {}, make('canvas', { id: 'drift', className: 'drift', width: 1400, height: 460, role: 'img', ariaLabel: 'ΔE00 of every colour to its promise, strip after strip' }), make('figcaption', {}, 'ΔE00 of every colour to its promise, strip after strip, each in its own colour; a dotted line is a new version.')) : make('p', { className: 'quiet' }, 'No strip is recorded yet.'),
    state.history.strips.length > 0 && make('div', { className: 'scroll', tabIndex: 0, role: 'region', ariaLabel: 'Strips recorded' }, make('table', { id: 'strips' },
      make('thead', {}, make('tr', {}, ...['Strip', 'Version', 'When', 'Heat, % of power', 'Verdict'].map((words, i) => make('th', { scope: 'col', className: i === 3 ? 'num' : '' }, words)))),
      make('tbody', {}, ...state.history.strips.map((row) => make('tr', {}, make('th', { scope: 'row' }, `${row.number} ${row.strip}`), make('td', {}, String(row.version)), make('td', {}, when(row.date)), make('td', { className: 'num' }, figure(row.heat_pct, 2)), make('td', {}, row.verdict)))))),
    make('details', {}, make('summary', {}, 'The whole report'), make('pre', { tabIndex: 0 }, state.text)),
    make('details', {}, make('summary', {}, 'Before you mark: all cautions'), make('ul', {}, ...state.cautions.map((line) => make('li', {}, line)))));
  drawDrift();
}

function showOffer(offer) {
  const head = offer.way === 'heat' ? `A correction: power ${offer.power_pct > 0 ? '+' : '−'}${figure(Math.abs(offer.power_pct))} % for every colour.` : 'A correction: new settings, colour by colour.';
  return make('div', { id: 'offer' }, make('h2', {}, head), ...offer.remarks.map((line) => warning(line)),
    make('div', { className: 'scroll', tabIndex: 0, role: 'region', ariaLabel: 'Correction' }, make('table', {},
      make('thead', {}, make('tr', {}, ...[['Colour', 0], ['Off now, ΔE00', 1], ['expected after', 1], ['Setting', 0]].map(([words, right]) => make('th', { scope: 'col', className: right ? 'num' : '' }, words)))),
      make('tbody', {}, ...offer.rows.map((row) => make('tr', {}, make('th', { scope: 'row' }, row.name), make('td', { className: 'num' }, figure(row.before_de00, 2)), make('td', { className: 'num' }, figure(row.after_de00, 2)), make('td', {}, row.same ? 'as it was' : row.setting.words)))))));
}

async function version(way) {
  state = await post('check/version', { way });
  await refreshFiles();
  show();
}

function drawDrift() {
  const canvas = document.getElementById('drift');
  if (!canvas) return;
  const { strips, colours } = state.history;
  const context = canvas.getContext('2d');
  const { width, height } = canvas;
  const most = Math.max(3, ...strips.flatMap((row) => Object.values(row.de00))) * 1.12;
  const [left, low, top] = [70, height - 46, 22];
  const x = (i) => (strips.length === 1 ? (left + width) / 2 : left + 50 + i * (width - left - 110) / (strips.length - 1));
  const y = (value) => low - value / most * (low - top);
  context.fillStyle = '#777';
  context.fillRect(0, 0, width, height);
  context.font = '20px sans-serif';
  context.textAlign = 'center';
  const step = most > 12 ? 5 : most > 5 ? 2 : 1;
  for (let value = 0; value <= most; value += step) {
    context.strokeStyle = '#fff5';
    context.lineWidth = 1;
    context.beginPath(); context.moveTo(left, y(value)); context.lineTo(width - 20, y(value)); context.stroke();
    context.fillStyle = '#fff';
    context.fillText(String(value), left - 28, y(value) + 7);
  }
  context.fillText('ΔE00', left - 30, top + 2);
  const every = Math.ceil(strips.length / 12);
  strips.forEach((row, i) => {
    context.fillStyle = '#fff';
    if (i % every === 0) context.fillText(when(row.date).slice(5), x(i), height - 16);
    if (i && row.version !== strips[i - 1].version) {
      context.setLineDash([4, 8]);
      context.strokeStyle = '#fff';
      context.lineWidth = 2;
      const at = (x(i) + x(i - 1)) / 2;
      context.beginPath(); context.moveTo(at, top); context.lineTo(at, low); context.stroke();
      context.setLineDash([]);
    }
  });
  for (const { name, hex } of colours) {
    const points = strips.map((row, i) => [x(i), row.de00[name]]).filter(([, value]) => value !== undefined);
    for (const [colour, thick] of [['#fff', 7], [hex, 4]]) {
      context.strokeStyle = colour;
      context.lineWidth = thick;
      context.beginPath();
      points.forEach(([at, value], i) => (i ? context.lineTo(at, y(value)) : context.moveTo(at, y(value))));
      context.stroke();
    }
    for (const [at, value] of points) {
      context.beginPath(); context.arc(at, y(value), 9, 0, 7);
      context.fillStyle = hex; context.fill();
      context.strokeStyle = '#fff'; context.lineWidth = 2; context.stroke();
    }
  }
}
