// The place "artwork".
import { get, post, picture, load, download } from './api.js';
import { attempt, by, choices, figure, fill, lab, list, make, ofKind, onFiles, refreshFiles, say, soon, swatch, warning, watch } from './dom.js';
import { makeStage } from './stage.js';

let state = {};
let view;
let chosen = null; // number of the layer looked at
let labels = null; // grey levels of the preview: the number of each pixel
let shownPictures = -1;

export function start() {
  view = makeStage({ onPick: pick, onView: soon(lookCloser, 160) });
  const chooser = by('artwork-file');
  for (const id of ['artwork-choose', 'artwork-other']) by(id).addEventListener('click', () => chooser.click());
  chooser.addEventListener('change', () => { if (chooser.files[0]) open(chooser.files[0]); chooser.value = ''; });
  const stage = by('stage');
  for (const name of ['dragenter', 'dragover']) stage.addEventListener(name, (event) => { event.preventDefault(); stage.classList.add('over'); });
  for (const name of ['dragleave', 'drop']) stage.addEventListener(name, (event) => { event.preventDefault(); stage.classList.remove('over'); });
  stage.addEventListener('drop', (event) => { if (event.dataTransfer.files[0]) open(event.dataTransfer.files[0]); });
  by('artwork-form').addEventListener('submit', (event) => event.preventDefault());
  by('width').addEventListener('change', () => state.file && reopen(Number(by('width').value)));
  by('source').addEventListener('change', () => change({ ...source(), colours: null }));
  by('count').addEventListener('input', () => { by('count-said').textContent = by('count').value; change({ colours: Number(by('count').value) }); });
  by('smooth').addEventListener('change', () => change({ smooth: by('smooth').checked }));
  by('speck').addEventListener('change', () => change({ speck_mm2: by('speck').value === '' ? null : Number(by('speck').value) }));
  by('way').addEventListener('change', () => change({ way: by('way').value }));
  by('map').addEventListener('change', () => change({ map: by('map').value || null }));
  by('cell').addEventListener('change', () => change({ cell_mm: by('cell').value === '' ? null : Number(by('cell').value) }));
  by('paper').addEventListener('change', () => change({ paper: by('paper').checked }));
  by('ink').addEventListener('change', () => change({ ink: by('ink').checked }));
  by('shows').addEventListener('change', () => inTurn(showRight));
  by('artwork-machine').addEventListener('change', () => change({ machine: by('artwork-machine').value || null }));
  by('artwork-stock').addEventListener('change', () => change({ stock: by('artwork-stock').value || null }));
  const kept = by('palette-file');
  by('palette-load').addEventListener('click', () => kept.click());
  kept.addEventListener('change', () => { if (kept.files[0]) attempt(() => loadPalette(kept.files[0])); kept.value = ''; });
  by('palette-save').addEventListener('click', () => attempt(async () => { const file = await post('artwork/palette', { rev: state.rev }); await refreshFiles(); await download(file); say(`saved as ${file.name}`); }));
  by('zoom-whole').addEventListener('click', () => view.whole());
  by('zoom-in').addEventListener('click', () => view.zoom(1.5));
  by('zoom-out').addEventListener('click', () => view.zoom(1 / 1.5));
  by('zoom-cells').addEventListener('click', () => view.cells());
  by('only-wanted').addEventListener('click', () => view.setPart(1));
  by('both').addEventListener('click', () => view.setPart(0.5));
  by('only-proof').addEventListener('click', () => view.setPart(0));
  by('artwork-full').addEventListener('click', () => attempt(async () => watch(await post('artwork/full', { rev: state.rev }), by('view-work'), fullDone)));
  by('job').addEventListener('click', () => attempt(async () => watch(await post('artwork/job', {
    hatch: by('hatch').checked, trial: by('trial').checked, inset_spot: Number(by('inset').value) || 0, rev: state.rev,
  }), by('artwork-work'), jobDone)));
  onFiles(showFiles);
}

export async function restore(shown, running) {
  if (shown.file) {
    state = shown;
    await inTurn(() => showAll(true));
  }
  const after = { 'job folder': jobDone, 'opening the drawing': openDone };
  if (running) watch(running, by(running.what === 'job folder' ? 'artwork-work' : 'view-work'), after[running.what] ?? fullDone);
}

export const shown = () => view.changed();

function showFiles() {
  const palettes = ofKind('palette').map((file) => ({ id: `palette:${file.id}`, name: `palette: ${file.name}` }));
  const models = ofKind('model').map((file) => ({ id: `model:${file.id}`, name: `afresh from ${file.name}` }));
  const options = state.options ?? {};
  const now = options.model ? `model:${options.model}` : options.palette ? `palette:${options.palette}` : undefined;
  choices(by('source'), [...palettes, ...models], { chosen: now, none: palettes.length + models.length ? undefined : 'nothing on the desk yet' });
  choices(by('artwork-machine'), ofKind('machine'), { none: 'as the palette says', chosen: options.machine ?? '' });
  choices(by('artwork-stock'), ofKind('stock'), { none: 'as the palette says', chosen: options.stock ?? '' });
}

function source() {
  const [kind, id] = by('source').value.split(':');
  return { palette: kind === 'palette' ? id : null, model: kind === 'model' ? id : null };
}

async function loadPalette(file) {
  const text = await file.slice(0, 200).text();
  const kind = text.includes('tint-model/') ? 'model' : 'palette';
  const known = await load(kind, file);
  await refreshFiles();
  by('source').value = `${kind}:${known.id}`;
  if (state.file) await change({ ...source(), colours: null });
}

const open = (file, width = Number(by('width').value) || 60) => inTurn(async () => {
  say(`loading ${file.name} …`);
  state.full = null;
  const known = await load('artwork', file);
  await asOpened(await post('artwork/open', { file: known.id, ...(file.name.toLowerCase().endsWith('.svg') ? {} : { width_mm: width }) }));
  say('');
});

const reopen = (width) => inTurn(async () => {
  state.full = null;
  await asOpened(await post('artwork/open', { file: state.file, width_mm: width }));
});

// A large drawing is read aside, so that it can be stopped; it comes onto the desk when it is read.
async function asOpened(said) {
  if (said.work) { watch(said.work, by('view-work'), openDone); return; }
  state = said;
  await opened();
}

const openDone = () => inTurn(async () => {
  state = (await get('state')).places.artwork;
  await opened();
});

async function opened() {
  chosen = null;
  by('spot-card').hidden = true;
  await showAll(true);
  const wish = source();
  if (!wish.palette && !wish.model) return;
  state = await post('artwork/try', wish);
  await showAll(false);
}

// What changes the piece is done one after the other; wishes that come meanwhile are put together.
let turn = Promise.resolve();
let wishes = null;
let waiting = 0;
function inTurn(work) {
  const count = (change) => { waiting += change; by('artwork').setAttribute('aria-busy', String(waiting > 0)); };
  count(1);
  turn = turn.then(() => attempt(work)).finally(() => count(-1));
  return turn;
}

function change(values) {
  if (!state.file) return undefined;
  wishes = { ...wishes, ...values };
  return inTurn(async () => {
    if (!wishes) return;
    const now = wishes;
    wishes = null;
    state.full = null;
    state = await post('artwork/try', now);
    await showAll(false);
  });
}

async function showAll(fresh) {
  by('drop').hidden = true;
  by('view-bar').hidden = false;
  by('artwork-name').textContent = state.name;
  if (waiting < 2) by('width').value = state.width_mm; // else what was typed meanwhile is still to come
  const pixels = state.size_px ? ` · ${state.size_px[0]} × ${state.size_px[1]} pixels` : '';
  by('artwork-size').textContent = `${figure(state.width_mm)} × ${figure(state.height_mm)} mm${pixels}`;
  const cells = state.options.way !== 'flat';
  by('smooth').disabled = by('speck').disabled = cells || state.kind === 'drawing';
  by('cell').disabled = !cells;
  by('way').value = state.options.way;
  by('map').value = state.options.map ?? '';
  by('cell').value = state.options.cell_mm ?? '';
  by('paper').checked = state.options.paper;
  by('ink').checked = state.options.ink;
  by('smooth').checked = state.options.smooth;
  by('speck').value = state.options.speck_mm2 ?? '';
  showFiles();
  const result = state.result;
  Object.assign(view.stage, { size: [state.width_mm, state.height_mm], places: [], detail: null, veil: null, bare: result?.palette.bare ?? '#c9c9c9' });
  const wanted = shownPictures === -1 || fresh ? await picture('artwork/picture', { which: 'wanted', rev: state.rev }) : view.stage.wanted;
  const proof = result ? await picture('artwork/picture', { which: by('shows').value, rev: state.rev }) : null;
  Object.assign(view.stage, { wanted, proof, cell: result?.pitch_mm ?? state.width_mm / wanted.width });
  shownPictures = state.rev;
  labels = null;
  by('divider').hidden = !result;
  by('tag-wanted').hidden = by('tag-proof').hidden = !result;
  if (fresh) { view.setPart(view.stage.part); view.whole(); } else view.changed();
  by('artwork-result').hidden = !result;
  by('palette-save-row').hidden = !result;
  if (result) await showResult(result);
  by('view').dataset.rev = state.rev;
}

async function showRight() {
  if (!state.result) return;
  view.stage.proof = await picture('artwork/picture', { which: by('shows').value, rev: state.rev });
  if (by('shows').value !== 'proof') view.stage.detail = null;
  await showBands();
  view.changed();
}

async function showBands() {
  by('bands').hidden = by('shows').value !== 'lost';
  by('tag-proof').textContent = by('shows').selectedOptions[0].textContent.replace('as ', '');
  if (by('bands').hidden) return;
  const lost = await get('artwork/lost');
  fill(by('bands'), make('span', {}, `ΔE00 lost, seen over 0.25 mm: half of the piece within ${figure(lost.median_de00)}, 9 tenths within ${figure(lost.p90_de00)}.`), ...lost.bands.map((band) => make('span', {}, make('i', { colour: band.hex }), band.words)));
}

async function showResult(result) {
  await showBands();
  const count = by('count');
  count.max = result.most_colours;
  count.value = state.options.colours;
  by('count-said').textContent = state.options.colours;
  by('suggestion').textContent = result.suggestion;
  const sum = result.problem
    ? warning(result.problem)
    : `Marking ${result.marking}, cooling waits ${result.waits}, together about ${result.total} on ${result.machine}; ${result.stock}. Times are of the preview; the job counts them at full size.`;
  fill(by('artwork-sum'), sum);
  fill(by('layers').tBodies[0], ...result.layers.map((layer) => row(layer, result)));
  if (!result.layers.some((layer) => layer.number === chosen)) { chosen = null; by('spot-card').hidden = true; view.stage.at = null; }
  showWarnings(result);
  list(by('artwork-cautions'), result.cautions);
  if (chosen !== null) choose(chosen);
}

function row(layer, result) {
  const keeps = state.options.keep.includes(layer.name);
  return make('tr', { className: layer.number === chosen ? 'chosen' : '', 'data-number': layer.number },
    make('th', { scope: 'row' }, make('span', { className: 'row' }, swatch(layer.wanted ?? layer.hex, layer.hex), make('span', {}, make('button', { type: 'button', className: 'pick', onclick: () => choose(layer.number) }, `${layer.order ?? ''} ${layer.name}`), keeps && make('small', {}, ' kept'), make('span', { className: 'under' }, layer.setting.words)))),
    make('td', { className: 'num' }, figure(layer.off_de00)), make('td', { className: 'num' }, figure(layer.de00_90)), make('td', { className: 'num' }, figure(layer.area_mm2)),
    make('td', { className: 'num' }, layer.time, layer.wait && make('small', {}, make('br'), `wait ${layer.wait}`)));
}

// What can be done with a colour: kept when there are fewer, or marked in another.
function acts(layer) {
  const keeps = state.options.keep.includes(layer.name);
  const keep = make('button', { type: 'button', className: 'small', id: 'keep', ariaPressed: String(keeps), onclick: () => keepColour(layer.name) }, keeps ? 'Kept when there are fewer' : 'Keep when there are fewer');
  const join = make('select', { id: 'join', ariaLabel: `Mark ${layer.name} in another colour`, onchange: (event) => joinColour(layer.name, event.target.value) },
    make('option', { value: '' }, 'Mark it as …'), make('option', { value: 'bare metal' }, 'bare metal'),
    ...state.result.layers.filter((other) => other.number !== layer.number).map((other) => make('option', { value: other.name }, other.name)));
  return [keep, join];
}

function showWarnings(result) {
  const joined = state.options.join.map(([from, into]) => make('p', { className: 'quiet' }, `${from} is marked as ${into} `, make('button', { type: 'button', className: 'small', onclick: () => change({ join: state.options.join.filter(([name]) => name !== from) }) }, 'Undo')));
  const look = result.warnings.map((item) => warning(item.text,
    item.at_mm.length > 0 && make('button', { type: 'button', className: 'small', onclick: () => showPlaces(item.at_mm) }, 'Show where'),
    item.number > 0 && make('button', { type: 'button', className: 'small', onclick: () => choose(item.number) }, 'Show where')));
  fill(by('artwork-warnings'), ...joined, look.length || result.remarks.length ? make('h2', {}, 'Worth a look') : null, ...look, ...result.remarks.map((line) => make('p', { className: 'quiet' }, line)));
}

function showPlaces(places) {
  Object.assign(view.stage, { places, veil: null });
  view.whole();
  view.zoom(2.5);
  view.centreOn(...places[0]);
  by('stage').scrollIntoView({ block: 'nearest' });
}

function keepColour(name) {
  const keep = state.options.keep.includes(name) ? state.options.keep.filter((other) => other !== name) : [...state.options.keep, name];
  change({ keep });
}

function joinColour(name, into) {
  if (into) change({ join: [...state.options.join.filter(([from]) => from !== name).map(([from, to]) => [from, to === name ? into : to]), [name, into]] });
}

// A layer looked at: the others are veiled, its card is shown.
async function choose(number, place = null) {
  chosen = number;
  for (const line of by('layers').tBodies[0].rows) line.classList.toggle('chosen', Number(line.dataset.number) === number);
  view.stage.at = place;
  const layer = state.result.layers.find((each) => each.number === number);
  showCard(layer, place);
  labels ??= await attempt(() => picture('artwork/picture', { which: 'labels', rev: state.rev }));
  if (place) by('spot-card').scrollIntoView({ block: 'nearest' });
  else by('stage').scrollIntoView({ block: 'start' });
  if (labels && chosen === number) { view.stage.veil = number ? veil(labels, number) : null; view.changed(); }
}

function veil(image, number) {
  const canvas = new OffscreenCanvas(image.width, image.height);
  const context = canvas.getContext('2d');
  context.drawImage(image, 0, 0);
  const pixels = context.getImageData(0, 0, image.width, image.height);
  const words = new Uint32Array(pixels.data.buffer);
  for (let i = 0; i < words.length; i += 1) words[i] = (words[i] & 255) === number ? 0 : 0xb0777777;
  context.putImageData(pixels, 0, 0);
  return canvas;
}

const pick = (x, y) => attempt(async () => {
  if (!state.result) return;
  if (x < 0 || y < 0 || x >= state.width_mm || y >= state.height_mm) return;
  const found = await get('artwork/at', { x_mm: x, y_mm: y, rev: state.rev });
  await choose(found.number, [x, y]);
});

function showCard(layer, place) {
  const card = by('spot-card');
  card.hidden = false;
  const where = place ? `At ${figure(place[0])}, ${figure(place[1])} mm from the top left corner. ` : '';
  const close = make('button', { type: 'button', className: 'small', onclick: unchoose }, 'Show all again');
  if (!layer) {
    fill(card, make('span', { className: 'swatch' }, make('i', { colour: state.result.palette.bare })), make('div', {}, make('h3', {}, 'Bare metal'), make('p', {}, where, 'Nothing is marked here.')), make('p', { className: 'acts row start' }, close));
    return;
  }
  const models = ofKind('model');
  const others = models.length > 0 && make('button', { type: 'button', className: 'small', onclick: () => offer(layer) }, 'Other settings for this colour');
  fill(card,
    swatch(layer.wanted ?? layer.hex, layer.hex),
    make('div', {},
      make('h3', {}, layer.name),
      make('p', {}, where, `Left wanted, right predicted: ${lab(layer.lab)}. ${layer.off_de00 === null ? '' : `Off by ΔE00 ${figure(layer.off_de00)} on average; `}9 of 10 marks land within ± ${figure(layer.de00_90)}; shifts by ${figure(layer.sensitivity_de00)} when the machine strays (${state.result.jitter}).`),
      make('p', {}, make('strong', {}, layer.setting.words)),
      make('p', {}, `${figure(layer.area_mm2)} mm², marked ${ordinal(layer.order)}, ${layer.time} min:s.${layer.remark ? ` ${layer.remark[0].toUpperCase()}${layer.remark.slice(1)}.` : ''}`)),
    make('p', { className: 'acts row start' }, ...acts(layer), others, close),
    make('div', { className: 'acts', id: 'offers' }));
}

const ordinal = (n) => (n ? `as number ${n}` : 'in no order yet');

function unchoose() {
  chosen = null;
  Object.assign(view.stage, { veil: null, at: null, places: [] });
  by('spot-card').hidden = true;
  for (const line of by('layers').tBodies[0].rows) line.classList.remove('chosen');
  view.changed();
}

const offer = (layer) => attempt(async () => {
  const answer = await post('artwork/others', { number: layer.number, rev: state.rev });
  fill(by('offers'), make('p', {}, answer.reachable ? 'Settings near the wanted colour, safest first:' : 'The wanted colour is out of reach; what comes nearest, safest first:'),
    make('table', {}, make('tbody', {}, ...answer.candidates.map((each, i) => make('tr', {},
      make('th', { scope: 'row' }, swatch(answer.wanted, each.hex)), make('td', { className: 'num' }, `off ${figure(each.de00)}`), make('td', { className: 'num' }, `± ${figure(each.de00_90)}`),
      make('td', {}, each.setting.words), make('td', {}, make('button', { type: 'button', className: 'small', onclick: () => inTurn(async () => { state.full = null; state = await post('artwork/swap', { choice: i, rev: state.rev }); await showAll(false); }) }, 'Use this')))))));
});

async function fullDone() {
  const now = (await get('state')).places.artwork;
  if (!now.full || now.rev !== state.rev) return; // something was changed meanwhile
  const facts = now.full;
  state.full = facts;
  say(`Full size is ready: ${facts.width_px} × ${facts.height_px} pixels of ${figure(facts.pitch_mm, 4)} mm. Zoom in to see it.`);
  view.stage.cell = facts.pitch_mm;
  view.changed();
}

async function jobDone(answer) {
  fill(by('artwork-work'), make('div', { className: 'work', id: 'job-done' }, make('p', {}, make('strong', {}, 'The job folder is written.'), ' Start with README.txt and sheet.pdf in it.'),
    make('p', {}, make('button', { type: 'button', className: 'main', onclick: () => attempt(() => download(answer.file)) }, `Download ${answer.file.name}`)),
    make('details', {}, make('summary', {}, 'What is in it'), make('pre', { tabIndex: 0 }, answer.text), ...answer.remarks.map((line) => make('p', { className: 'quiet' }, line)))));
}

// Where the full size is there and the view is close enough, the true pixels are fetched.
async function lookCloser(stage, at) {
  by('scale').textContent = stage.size && stage.cell ? scaleText(stage, at) : '';
  if (!state.full || by('shows').value !== 'proof' || at.scale * stage.cell < 0.8) { if (stage.detail) { stage.detail = null; view.changed(); } return; }
  const cell = state.full.pitch_mm;
  const [x, y] = [Math.max(0, Math.floor(at.left / cell) * cell), Math.max(0, Math.floor(at.top / cell) * cell)];
  const [toX, toY] = [Math.min(state.width_mm, at.left + at.width), Math.min(state.height_mm, at.top + at.height)];
  if (toX <= x || toY <= y) return;
  const have = stage.detail;
  if (have && have.rev === state.rev && have.key === [x, y, toX, toY].join()) return;
  const part = { x_mm: x, y_mm: y, to_x_mm: toX, to_y_mm: toY, rev: state.rev };
  await attempt(async () => {
    const [wanted, proof] = await Promise.all(['wanted', 'proof'].map((which) => picture('artwork/crop', { which, ...part })));
    if (part.rev !== state.rev) return;
    stage.detail = { wanted, proof, x: Math.round(x / cell) * cell, y: Math.round(y / cell) * cell, w: wanted.width * cell, h: wanted.height * cell, cell, rev: state.rev, key: [x, y, toX, toY].join() };
    view.changed();
  });
}

function scaleText(stage, at) {
  const cell = state.full ? 'full size' : 'preview';
  const coarse = state.result?.true_cell_mm && state.result.true_cell_mm < stage.cell * 0.99 ? ` (the job's cells are ${figure(state.result.true_cell_mm, 3)} mm: see full size)` : '';
  const spot = state.result ? ` · spot ${figure(state.result.spot_mm, 3)} mm` : '';
  return `${cell}: cell ${figure(stage.cell, 3)} mm${coarse}${spot} · ${figure(at.width)} mm across`;
}
