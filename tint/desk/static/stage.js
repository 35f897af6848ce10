// The picture of the piece: wanted and predicted on either side of a divider, moved and zoomed; places in mm.
import { by } from './dom.js';

const MOST_PX_PER_CELL = 48;

export function makeStage({ onPick, onView }) {
  const box = by('stage');
  const canvas = by('view');
  const divider = by('divider');
  const context = canvas.getContext('2d');
  const stage = { size: null, wanted: null, proof: null, bare: '#cccccc', cell: 0, part: 0.5, veil: null, at: null, places: [], detail: null };
  let scale = 1; // screen pixels per mm
  let left = 0; // mm at the left edge of the canvas
  let top = 0;
  let fitted = true; // the whole piece is in view, and stays so when the window changes

  const screen = () => [canvas.clientWidth, canvas.clientHeight];

  function whole() {
    const [width, height] = screen();
    if (!stage.size || !width) return;
    scale = Math.min(width / stage.size[0], height / stage.size[1]) * 0.94;
    left = stage.size[0] / 2 - width / scale / 2;
    top = stage.size[1] / 2 - height / scale / 2;
    fitted = true;
    changed();
  }

  function zoom(factor, x = screen()[0] / 2, y = screen()[1] / 2) {
    if (!stage.size) return;
    const [width, height] = screen();
    const least = Math.min(width / stage.size[0], height / stage.size[1]) * 0.5;
    const most = MOST_PX_PER_CELL / (stage.cell || 0.01);
    const next = Math.min(Math.max(scale * factor, least), Math.max(most, least * 2));
    left += x / scale - x / next;
    top += y / scale - y / next;
    scale = next;
    fitted = false;
    changed();
  }

  function cells() { if (stage.cell) zoom(24 / stage.cell / scale); }

  function move(dx, dy) {
    fitted = false;
    const [width, height] = screen();
    left = Math.min(Math.max(left + dx / scale, -width / scale * 0.8), stage.size[0] - width / scale * 0.2);
    top = Math.min(Math.max(top + dy / scale, -height / scale * 0.8), stage.size[1] - height / scale * 0.2);
    changed();
  }

  let waiting = false;
  function changed() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; draw(); });
    onView(stage, { scale, left, top, width: screen()[0] / scale, height: screen()[1] / scale });
  }

  function draw() {
    const ratio = devicePixelRatio || 1;
    const [width, height] = screen();
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    context.scale(ratio, ratio);
    if (!stage.size) return;
    const x = -left * scale;
    const y = -top * scale;
    const w = stage.size[0] * scale;
    const h = stage.size[1] * scale;
    context.fillStyle = stage.bare;
    context.fillRect(x, y, w, h);
    const cut = stage.proof ? stage.part * width : width;
    half(stage.wanted, stage.detail?.wanted, 0, cut, x, y, w, h, height);
    half(stage.proof, stage.detail?.proof, cut, width, x, y, w, h, height);
    if (stage.veil) { context.imageSmoothingEnabled = false; context.drawImage(stage.veil, x, y, w, h); }
    stage.places.forEach(([atX, atY], i) => ring((atX - left) * scale, (atY - top) * scale, String(i + 1)));
    if (stage.at) cross((stage.at[0] - left) * scale, (stage.at[1] - top) * scale);
  }

  function half(image, detail, from, to, x, y, w, h, height) {
    if (!image || to <= from) return;
    context.save();
    context.beginPath();
    context.rect(from, 0, to - from, height);
    context.clip();
    context.imageSmoothingEnabled = w < image.width * 1.5;
    context.drawImage(image, x, y, w, h);
    if (detail) {
      context.imageSmoothingEnabled = stage.detail.cell * scale < 1.5;
      context.fillStyle = stage.bare;
      const place = [(stage.detail.x - left) * scale, (stage.detail.y - top) * scale, stage.detail.w * scale, stage.detail.h * scale];
      context.fillRect(...place);
      context.drawImage(detail, ...place);
    }
    context.restore();
  }

  function ring(x, y, text) {
    context.beginPath();
    context.arc(x, y, 13, 0, 7);
    context.fillStyle = '#000c';
    context.fill();
    context.lineWidth = 2;
    context.strokeStyle = '#fff';
    context.stroke();
    context.fillStyle = '#fff';
    context.font = '600 14px sans-serif';
    context.textAlign = 'center';
    context.textBaseline = 'middle';
    context.fillText(text, x, y + 1);
  }

  function cross(x, y) {
    for (const [colour, thick] of [['#000', 4], ['#fff', 2]]) {
      context.strokeStyle = colour;
      context.lineWidth = thick;
      context.beginPath();
      context.moveTo(x - 14, y); context.lineTo(x - 5, y); context.moveTo(x + 5, y); context.lineTo(x + 14, y);
      context.moveTo(x, y - 14); context.lineTo(x, y - 5); context.moveTo(x, y + 5); context.lineTo(x, y + 14);
      context.stroke();
    }
  }

  function setPart(part) {
    stage.part = Math.min(Math.max(part, 0), 1);
    divider.style.left = `${stage.part * 100}%`;
    divider.setAttribute('aria-valuenow', Math.round(stage.part * 100));
    divider.setAttribute('aria-valuetext', `${Math.round(stage.part * 100)} % wanted`);
    changed();
  }

  function centreOn(x, y) {
    const [width, height] = screen();
    left = x - width / scale / 2;
    top = y - height / scale / 2;
    changed();
  }

  const inMm = (event) => {
    const edge = canvas.getBoundingClientRect();
    return [left + (event.clientX - edge.left) / scale, top + (event.clientY - edge.top) / scale];
  };

  // pointers: drag moves, two fingers zoom, a click picks
  const down = new Map();
  let travelled = 0;
  canvas.addEventListener('pointerdown', (event) => {
    canvas.setPointerCapture(event.pointerId);
    down.set(event.pointerId, [event.clientX, event.clientY]);
    if (down.size === 1) travelled = 0;
  });
  canvas.addEventListener('pointermove', (event) => {
    const before = down.get(event.pointerId);
    if (!before || !stage.size) return;
    const now = [event.clientX, event.clientY];
    const others = [...down].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
    travelled += Math.abs(now[0] - before[0]) + Math.abs(now[1] - before[1]);
    if (others.length === 1) {
      const edge = canvas.getBoundingClientRect();
      const gap = (a) => Math.hypot(a[0] - others[0][0], a[1] - others[0][1]);
      zoom(gap(now) / Math.max(gap(before), 1), (now[0] + others[0][0]) / 2 - edge.left, (now[1] + others[0][1]) / 2 - edge.top);
    } else if (travelled > 5) move(before[0] - now[0], before[1] - now[1]);
    down.set(event.pointerId, now);
  });
  const up = (event) => {
    const was = down.delete(event.pointerId);
    if (was && event.type === 'pointerup' && travelled <= 5 && down.size === 0 && stage.size) onPick(...inMm(event));
  };
  canvas.addEventListener('pointerup', up);
  canvas.addEventListener('pointercancel', up);
  canvas.addEventListener('wheel', (event) => {
    if (!stage.size) return;
    event.preventDefault();
    const edge = canvas.getBoundingClientRect();
    zoom(Math.exp(-event.deltaY / 400), event.clientX - edge.left, event.clientY - edge.top);
  }, { passive: false });
  canvas.addEventListener('keydown', (event) => {
    if (!stage.size) return;
    const step = event.shiftKey ? 200 : 40;
    const keys = {
      ArrowLeft: () => move(-step, 0), ArrowRight: () => move(step, 0), ArrowUp: () => move(0, -step), ArrowDown: () => move(0, step),
      '+': () => zoom(1.4), '=': () => zoom(1.4), '-': () => zoom(1 / 1.4), 0: whole,
      Enter: () => onPick(left + screen()[0] / scale / 2, top + screen()[1] / scale / 2),
    };
    if (keys[event.key]) { event.preventDefault(); keys[event.key](); }
  });

  divider.addEventListener('pointerdown', (event) => { event.preventDefault(); divider.focus(); divider.setPointerCapture(event.pointerId); });
  divider.addEventListener('pointermove', (event) => {
    if (!divider.hasPointerCapture(event.pointerId)) return;
    const edge = box.getBoundingClientRect();
    setPart((event.clientX - edge.left) / edge.width);
  });
  divider.addEventListener('keydown', (event) => {
    const step = { ArrowLeft: -0.02, ArrowDown: -0.02, ArrowRight: 0.02, ArrowUp: 0.02, PageDown: -0.1, PageUp: 0.1, Home: -1, End: 1 }[event.key];
    if (step) { event.preventDefault(); setPart(stage.part + step); }
  });
  new ResizeObserver(() => { if (fitted && screen()[0]) whole(); else changed(); }).observe(canvas);

  return { stage, whole, zoom, cells, changed, setPart, centreOn, view: () => ({ scale, left, top, width: screen()[0] / scale, height: screen()[1] / scale }) };
}
