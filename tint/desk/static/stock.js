// The place "stock": plate, readings, model, palette.
import { get, post, load, download, pictureUrl } from './api.js';
import { attempt, by, choices, figure, fill, lab, list, make, ofKind, onFiles, refreshFiles, say, swatch, warning, watch } from './dom.js';

let state = {};
let looked = null; // id of the patch looked at

export function start() {
  by('photo-read').addEventListener('click', () => attempt(() => readPhoto(null)));
  by('photo-corners').addEventListener('click', () => attempt(() => readPhoto(corners)));
  const [any, table] = [by('stock-file'), by('reading-file')];
  by('stock-load').addEventListener('click', () => any.click());
  any.addEventListener('change', () => attempt(() => loadAny(any.files[0])).finally(() => { any.value = ''; }));
  by('reading-load').addEventListener('click', () => table.click());
  table.addEventListener('change', () => attempt(() => loadReading(table.files[0])).finally(() => { table.value = ''; }));
  by('stock-reading').addEventListener('change', () => by('stock-reading').value && attempt(() => read(by('stock-reading').value)));
  by('plan-go').addEventListener('click', () => attempt(async () => plateDone(by('plan-out'), await post('stock/plate', { machine: need('stock-machine', 'a machine'), stock: need('stock-stock', 'a stock'), n: Number(by('plan-n').value) }))));
  by('fit').addEventListener('click', () => attempt(async () => {
    const values = { machine: need('stock-machine', 'a machine'), stock: need('stock-stock', 'a stock'), base: by('stock-base').value || null };
    watch(await post('stock/fit', values), by('stock-work'), fitDone);
  }));
  by('stock-model').addEventListener('change', () => by('stock-model').value && attempt(async () => { state = await post('stock/model', { model: by('stock-model').value }); showModel(); }));
  by('palette-go').addEventListener('click', () => attempt(async () => {
    state = await post('stock/palette', { model: modelId(), n: Number(by('palette-n').value), name: by('palette-name').value || null });
    await refreshFiles();
    showPalette();
  }));
  by('next-go').addEventListener('click', () => attempt(async () => plateDone(by('next-out'), await post('stock/next', { model: modelId(), n: Number(by('next-n').value), toward: by('next-any').checked ? [] : [by('next-toward').value] }))));
  by('next-toward').addEventListener('input', () => { by('next-any').checked = false; });
  onFiles(() => {
    choices(by('stock-machine'), ofKind('machine'), { none: ofKind('machine').length ? undefined : 'none on the desk' });
    choices(by('stock-stock'), ofKind('stock'), { none: ofKind('stock').length ? undefined : 'none on the desk' });
    choices(by('stock-grid'), ofKind('grid'), { none: 'none: the table says it all' });
    choices(by('stock-reading'), ofKind('patches', 'reading'), { none: 'choose', chosen: state.file });
    choices(by('stock-base'), ofKind('model'), { none: 'nothing, from scratch' });
    choices(by('stock-model'), ofKind('model'), { none: 'choose', chosen: state.model?.id });
  });
}

export async function restore(shown, running) {
  state = shown;
  chooseMade();
  showPatches();
  showModel();
  showPalette();
  await showPhoto();
  if (running) { if (running.what === 'fit') watch(running, by('stock-work'), fitDone); else watch(running, by('stock-photo-work'), photoDone); }
}

export function shown() { drawReach(); }

function need(id, what) {
  if (!by(id).value) throw new Error(`Choose ${what} first, under "What is marked".`);
  return by(id).value;
}

function modelId() {
  if (!state.model) throw new Error('Fit colour to settings first, or choose a model to look at.');
  return state.model.id;
}

async function loadAny(file) {
  const text = await file.text();
  const kind = file.name.endsWith('.json') ? 'grid' : /^\s*max_power_w\s*=/m.test(text) ? 'machine' : 'stock';
  const known = await load(kind, file);
  await refreshFiles();
  by(`stock-${kind}`).value = known.id;
  say(`${file.name} is on the desk as ${kind}`);
}

async function loadReading(file) {
  if (/\.(png|jpe?g|tiff?|webp)$/i.test(file.name)) {
    const photo = await load('photo', file);
    state = await post('stock/photo', { file: photo.id });
    looked = null;
    await refreshFiles();
    showPatches();
    await showPhoto();
    return;
  }
  const text = await file.slice(0, 4000).text();
  const known = await load(/power_pct/.test(text) ? 'patches' : 'reading', file);
  await refreshFiles();
  by('stock-reading').value = known.id;
  await read(known.id);
}

async function read(file) {
  state = await post('stock/read', { file, grid: by('stock-grid').value || null });
  looked = null;
  await refreshFiles();
  chooseMade();
  showPatches();
  await showPhoto();
  fill(by('report'));
  by('report').hidden = true;
}

// ---- a photo: what was read is drawn over it; the corners can be dragged
let corners = [];
let photoUrl = '';

async function readPhoto(at) {
  const values = { grid: need('stock-grid', 'the grid that was marked'), chart: by('chart').value, corners_px: at };
  await watch(await post('stock/photo/read', values), by('stock-photo-work'), photoDone);
}

// The machine and the stock that the patches say they are of.
function chooseMade() {
  if (state.machine) by('stock-machine').value = state.machine;
  if (state.stock) by('stock-stock').value = state.stock;
}

async function photoDone() {
  state = (await get('state')).places.stock;
  chooseMade();
  showPatches();
  await showPhoto();
}

async function showPhoto() {
  const photo = state.photo;
  by('photo').hidden = !photo;
  if (!photo) return;
  corners = photo.corners_px.map((corner) => [...corner]);
  const url = await pictureUrl('stock/photo/picture', { rev: photo.rev });
  if (photoUrl) URL.revokeObjectURL(photoUrl);
  photoUrl = url;
  by('photo-image').src = url;
  await by('photo-image').decode();
  fill(by('photo-said'), make('strong', {}, photo.name), photo.read ? `: read. White: patches taken, red and crossed: left out for the reason their patch tells, yellow: marks and chart.` : ': not read yet.');
  drawCorners();
}

const CORNERS = ['top left', 'top right', 'bottom right', 'bottom left'];

function drawCorners() {
  const stage = by('photo-stage');
  const [width, high] = state.photo.size_px;
  const image = by('photo-image');
  const height = image.naturalHeight / image.naturalWidth * width; // with what is written under the photo, once it was read
  stage.querySelectorAll('.handle, svg').forEach((old) => old.remove());
  const outline = svg('polygon', { points: corners.map((corner) => corner.join()).join(' '), fill: 'none', stroke: '#fff', 'stroke-width': width / 400, 'stroke-dasharray': width / 100 });
  stage.append(svg('svg', { viewBox: `0 0 ${width} ${height}`, preserveAspectRatio: 'none', 'aria-hidden': 'true' }, outline));
  corners.forEach((corner, i) => {
    const place = () => {
      handle.style.left = `${100 * corner[0] / width}%`;
      handle.style.top = `${100 * corner[1] / height}%`;
      handle.setAttribute('aria-label', `${CORNERS[i]} corner of the plate at ${Math.round(corner[0])}, ${Math.round(corner[1])} pixels`);
      outline.setAttribute('points', corners.map((each) => each.join()).join(' '));
    };
    const put = (x, y) => { corner[0] = Math.min(Math.max(x, 0), width - 1); corner[1] = Math.min(Math.max(y, 0), high - 1); place(); };
    const handle = make('button', { type: 'button', className: 'handle', 'data-corner': i }, String(i + 1));
    handle.addEventListener('pointerdown', (event) => handle.setPointerCapture(event.pointerId));
    handle.addEventListener('pointermove', (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const edge = stage.getBoundingClientRect();
      put((event.clientX - edge.left) / edge.width * width, (event.clientY - edge.top) / edge.height * height);
    });
    handle.addEventListener('keydown', (event) => {
      const step = (event.shiftKey ? 20 : 2) * Math.max(1, width / 2000);
      const way = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (way) { event.preventDefault(); put(corner[0] + way[0], corner[1] + way[1]); }
    });
    place();
    stage.append(handle);
  });
}

// ---- patches on the plate
const SVG = 'http://www.w3.org/2000/svg';
function svg(tag, attributes, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function showPatches() {
  const plate = by('plate');
  plate.hidden = !state.patches;
  if (!state.patches) { fill(plate); fill(by('patches-said')); return; }
  const focused = document.activeElement?.dataset?.patch;
  const side = state.patch_mm ?? 6;
  const known = state.patches.every((patch) => patch.x_mm !== null);
  const across = Math.ceil(Math.sqrt(state.patches.length * 1.5));
  const at = (patch, i) => (known ? [patch.x_mm, patch.y_mm] : [(i % across + 0.7) * side * 1.25, (Math.floor(i / across) + 0.7) * side * 1.25]);
  const places = state.patches.map(at);
  const [left, top] = [0, 1].map((axis) => Math.min(...places.map((place) => place[axis])) - side * 0.8);
  const [right, bottom] = [0, 1].map((axis) => Math.max(...places.map((place) => place[axis])) + side * 0.8);
  const drawn = state.patches.map((patch, i) => {
    const [x, y] = places[i];
    const parts = [svg('rect', { x: x - side / 2, y: y - side / 2, width: side, height: side, fill: patch.hex })];
    if (patch.flag) parts.push(svg('path', { d: `M${x - side / 2} ${y - side / 2}l${side} ${side}m0 ${-side}l${-side} ${side}`, stroke: '#000', 'stroke-width': 1.1 }), svg('path', { d: `M${x - side / 2} ${y - side / 2}l${side} ${side}m0 ${-side}l${-side} ${side}`, stroke: '#fff', 'stroke-width': 0.5 }));
    if (state.model?.report.outliers.includes(patch.id)) parts.push(svg('circle', { cx: x, cy: y, r: side * 0.62, fill: 'none', stroke: '#fff', 'stroke-width': 0.7 }));
    if (patch.id === looked) parts.push(svg('rect', { x: x - side / 2 - 0.6, y: y - side / 2 - 0.6, width: side + 1.2, height: side + 1.2, fill: 'none', stroke: '#000', 'stroke-width': 1.4 }), svg('rect', { x: x - side / 2 - 0.6, y: y - side / 2 - 0.6, width: side + 1.2, height: side + 1.2, fill: 'none', stroke: '#fff', 'stroke-width': 0.7 }));
    const group = svg('g', { role: 'button', tabindex: 0, 'aria-label': `patch ${patch.id}${patch.flag ? `, left out: ${patch.flag}` : ''}`, 'data-patch': patch.id }, ...parts);
    group.addEventListener('click', () => lookAt(patch.id));
    group.addEventListener('keydown', (event) => {
      if (event.key === 'Enter' || event.key === ' ') { event.preventDefault(); lookAt(patch.id); }
      if (event.key === 'Delete') drop(patch.id, !patch.flag);
    });
    return group;
  });
  fill(plate, svg('svg', { viewBox: `${left} ${top} ${right - left} ${bottom - top}`, role: 'group', 'aria-label': 'Patches as they were read' }, ...drawn));
  if (focused) plate.querySelector(`[data-patch="${CSS.escape(focused)}"]`)?.focus();
  showPatchWords();
}

function showPatchWords() {
  const out = state.patches.filter((patch) => patch.flag);
  const patch = state.patches.find((each) => each.id === looked);
  const facts = Object.entries(state.facts).map(([name, value]) => make('p', { className: 'quiet' }, `${name}: ${value}`));
  fill(by('patches-said'),
    make('p', { className: 'sum' }, `${state.patches.length} patches${state.grid ? ` of ${state.grid}` : ''}, ${state.patches.length - out.length} to fit with.`),
    patch ? make('div', { className: 'card' }, make('span', { className: 'swatch' }, make('i', { colour: patch.hex })),
      make('div', {}, make('h3', {}, `Patch ${patch.id}`), make('p', {}, lab(patch.lab), patch.sd !== null ? ` · uncertain by ${figure(patch.sd)} ΔE00` : ''), make('p', {}, patch.setting), patch.flag && warning(`left out: ${patch.flag}`)),
      make('p', { className: 'acts' }, make('button', { type: 'button', onclick: () => drop(patch.id, !patch.flag) }, patch.flag ? 'Take it in again' : 'Leave it out'))) : make('p', { className: 'quiet' }, 'Click a patch to see its reading, and to leave it out where it is scratched or in glare.'),
    ...(state.said ?? []).map((line) => (line.startsWith('Look') ? warning(line) : make('p', { className: 'quiet' }, line))),
    out.length > 0 && make('p', {}, `Left out: ${out.map((each) => each.id).join(', ')}`),
    state.bare_hex ? make('p', {}, swatch(state.bare_hex), ` bare metal, ${lab(state.bare)}`) : warning('The bare metal was not measured; its computed colour will stand in.'),
    ...facts,
    make('p', {}, make('button', { type: 'button', onclick: () => attempt(async () => { const file = await post('stock/patches'); await refreshFiles(); await download(file); }) }, 'Save these patches as a table')));
}

function lookAt(id) { looked = id; showPatches(); }

const drop = (id, out) => attempt(async () => { state = await post('stock/drop', { patches: [id], drop: out }); looked = id; showPatches(); });

// ---- what the model makes of it
async function fitDone(answer) {
  state = (await get('state')).places.stock;
  say(`the model is on the desk as ${answer.file.name}`);
  showPatches();
  showModel();
  choices(by('stock-model'), ofKind('model'), { none: 'choose', chosen: state.model.id });
}

function showModel() {
  const place = by('report');
  place.hidden = !state.model;
  if (!state.model) { fill(place); return; }
  const { report, machine, stock, text, cautions, id } = state.model;
  const others = report.scores.slice(1).filter((score) => score.share === 0);
  const drift = report.drift_pct !== null && Math.abs(report.drift_pct) >= 2 * report.drift_sd_pct;
  fill(place,
    make('p', { className: 'headline' }, `Half of fresh marks should land within ΔE00 ${figure(report.median_de00)} of the prediction, 9 of 10 within ${figure(report.p90_de00)}.`),
    make('p', { className: 'quiet' }, `Told from patches held out: ${report.patches} patches, ${report.flagged} left out. 2 is just noticeable. ${stock}, ${machine}.`),
    report.worse_than && warning(`Worse than guessing: ${report.worse_than} comes as near. Do the readings belong to this plate, machine and stock, in this order?`),
    report.outliers.length > 0 && warning(`Outliers, set aside and ringed above: ${report.outliers.join(', ')}. Look at them; leave them out or mark them again.`),
    report.missing.length > 0 && warning(`Hues this grid does not reach: ${report.missing.join(', ')}. Plan a next grid, or widen it, if you need them.`),
    drift && make('p', {}, `Power drifted by ${figure(report.drift_pct, 2)} % from the first patch to the last; taken out.`),
    ...report.remarks.map((line) => make('p', { className: 'quiet' }, line)),
    make('div', { className: 'reach' },
      make('figure', {}, make('canvas', { id: 'reach-ab', width: 720, height: 600, role: 'img', ariaLabel: 'Reach of the stock in a and b' }), make('figcaption', {}, 'What this stock can show, seen from above: a to the right (red), b up (yellow). Rings are measured patches.')),
      make('figure', {}, make('canvas', { id: 'reach-lc', width: 720, height: 600, role: 'img', ariaLabel: 'Reach of the stock in lightness and chroma' }), make('figcaption', {}, 'The same from the side: strength of colour to the right, lightness up.'))),
    make('div', { className: 'scroll', tabIndex: 0, role: 'region', ariaLabel: 'Held-out errors' }, make('table', {}, make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'Off on patches held out'), make('th', { scope: 'col', className: 'num' }, 'half within, ΔE00'), make('th', { scope: 'col', className: 'num' }, '9 of 10 within, ΔE00'))),
      make('tbody', {}, ...[report.scores[0], ...others].map((score) => make('tr', {}, make('th', { scope: 'row' }, score.name), make('td', { className: 'num' }, figure(score.median_de00, 2)), make('td', { className: 'num' }, figure(score.p90_de00, 2))))))),
    make('p', {}, `From its lowest to its highest in the grid, the colour moves by: ${report.effects.map((each) => `${each.words} ${figure(each.de00)}`).join(', ')} ΔE00.`),
    make('details', {}, make('summary', {}, 'The whole report'), make('pre', { tabIndex: 0 }, text)),
    make('details', {}, make('summary', {}, 'Before you mark: all cautions'), make('ul', {}, ...cautions.map((line) => make('li', {}, line)))),
    ofKind('model').find((file) => file.id === id && file.source === 'made') && make('p', {}, make('button', { type: 'button', onclick: () => attempt(() => download(ofKind('model').find((file) => file.id === id))) }, 'Save the model')));
  drawReach();
}

function drawReach() {
  const [above, side] = [document.getElementById('reach-ab'), document.getElementById('reach-lc')];
  if (!above || !state.model) return;
  const { predicted, measured } = state.model.reach;
  const all = [...predicted, ...measured];
  const widest = Math.max(20, ...all.map((row) => Math.max(Math.abs(row[1]), Math.abs(row[2])))) * 1.1;
  const chroma = (row) => Math.hypot(row[1], row[2]);
  const strongest = Math.max(20, ...all.map(chroma)) * 1.1;
  plot(above, predicted, measured, (row) => [row[1], row[2]], [-widest * 1.2, widest * 1.2], [-widest, widest], ['a', 'b']);
  plot(side, predicted, measured, (row) => [chroma(row), row[0]], [0, strongest], [0, 100], ['C', 'L']);
}

function plot(canvas, predicted, measured, place, across, up, names) {
  const context = canvas.getContext('2d');
  const { width, height } = canvas;
  const edge = 46;
  const x = (value) => edge + (value - across[0]) / (across[1] - across[0]) * (width - edge - 14);
  const y = (value) => height - edge - (value - up[0]) / (up[1] - up[0]) * (height - edge - 14);
  context.fillStyle = '#777';
  context.fillRect(0, 0, width, height);
  context.font = '20px sans-serif';
  context.fillStyle = '#fff';
  context.strokeStyle = '#fff5';
  context.textAlign = 'center';
  const step = (range) => (range[1] - range[0] > 60 ? 20 : 10);
  for (let at = Math.ceil(across[0] / step(across)) * step(across); at <= across[1]; at += step(across)) line(x(at), y(up[0]), x(at), y(up[1]), at, x(at), height - 18);
  for (let at = Math.ceil(up[0] / step(up)) * step(up); at <= up[1]; at += step(up)) line(x(across[0]), y(at), x(across[1]), y(at), at, 22, y(at) + 7);
  context.font = '600 22px sans-serif';
  context.fillText(names[0], width - 16, height - 18);
  context.fillText(names[1], edge + 18, 30);
  for (const row of predicted) { const [at, high] = place(row); context.fillStyle = row[3]; context.beginPath(); context.arc(x(at), y(high), 6, 0, 7); context.fill(); }
  context.strokeStyle = '#fff';
  context.lineWidth = 2;
  for (const row of measured) { const [at, high] = place(row); context.beginPath(); context.arc(x(at), y(high), 7, 0, 7); context.stroke(); }

  function line(fromX, fromY, toX, toY, text, textX, textY) {
    context.lineWidth = text === 0 ? 2 : 1;
    context.beginPath(); context.moveTo(fromX, fromY); context.lineTo(toX, toY); context.stroke();
    context.fillText(String(text), textX, textY);
  }
}

// ---- palette and plates
function showPalette() {
  const palette = state.palette;
  if (!palette) { fill(by('palette-out')); return; }
  const one = (name, colour, ...lines) => make('div', {}, make('i', { colour }), make('p', {}, make('strong', {}, name), ...lines.flatMap((line) => [make('br'), line])));
  fill(by('palette-out'),
    make('p', {}, `${palette.name}: ${palette.colours.length} colours. `, make('button', { type: 'button', id: 'palette-download', onclick: () => attempt(() => download(palette.file)) }, `Save ${palette.file.name}`), ' ', make('a', { href: '#artwork' }, 'Use it on artwork')),
    make('p', { className: 'caution' }, document.querySelector('[data-caution]').textContent),
    make('div', { className: 'swatches' }, one('bare metal', palette.bare), ...palette.colours.map((colour) => one(`${colour.number} ${colour.name}`, colour.hex, `± ${figure(colour.de00_90)}, strays by ${figure(colour.sensitivity_de00)}`, colour.setting.words))),
    make('p', { className: 'honest' }, `± and strays by are ΔE00; strays under ${palette.jitter}. ${document.querySelector('[data-screen]').textContent}`),
    ...palette.remarks.map((line) => make('p', { className: 'quiet' }, line)));
}

async function plateDone(place, answer) {
  await refreshFiles();
  by('stock-grid').value = answer.grid.id;
  fill(place, make('div', { className: 'work' }, make('p', {}, `${answer.patches} patches, about ${answer.minutes} min to mark. Keep to the order in settings.csv: it is shuffled on purpose.`),
    make('p', {}, make('button', { type: 'button', className: 'main', onclick: () => attempt(() => download(answer.file)) }, `Download ${answer.file.name}`)),
    make('ul', {}, ...answer.cautions.map((line) => make('li', {}, line)))));
}
