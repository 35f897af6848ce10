// Calls to the desk: each carries the token; what goes wrong is one line of text.
const token = document.querySelector('meta[name="desk-token"]').content;

async function answer(response) {
  if (response.ok) return response;
  const text = await response.text();
  let said = text;
  try { said = JSON.parse(text).error ?? text; } catch { /* plain text */ }
  throw new Error(said || `the desk answered ${response.status}`);
}

async function ask(path, options = {}) {
  let response;
  try {
    response = await fetch(`/api/${path}`, { ...options, headers: { 'X-Tint-Desk': token, ...options.headers } });
  } catch {
    throw new Error('The desk does not answer. Is `tint desk` still running?');
  }
  return answer(response);
}

const query = (values) => new URLSearchParams(Object.entries(values).map(([name, value]) => [name, String(value)])).toString();

export const get = async (path, values = {}) => (await ask(`${path}?${query(values)}`)).json();

export async function post(path, values = {}) {
  const said = await (await ask(path, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(values) })).json();
  windows.postMessage(path.split('/')[0]);
  return said;
}

// Other windows of the same desk hear which place was changed.
const windows = new BroadcastChannel('tint-desk');
export function onOtherWindow(hear) { windows.addEventListener('message', (event) => hear(event.data)); }

export const picture = async (path, values) =>
  createImageBitmap(await (await ask(`${path}?${query(values)}`)).blob(), { premultiplyAlpha: 'none', colorSpaceConversion: 'none' });

export const pictureUrl = async (path, values) => URL.createObjectURL(await (await ask(`${path}?${query(values)}`)).blob());

export const load = async (kind, file) =>
  (await ask(`load?${query({ kind, name: file.name })}`, { method: 'POST', headers: { 'Content-Type': 'application/octet-stream' }, body: file })).json();

export async function download(file) {
  const blob = await (await ask(`fetch?${query({ file: file.id })}`)).blob();
  const link = document.createElement('a');
  link.href = URL.createObjectURL(blob);
  link.download = file.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}
