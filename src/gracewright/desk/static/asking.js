// Talking to the desk's server: every answer is JSON, every fault one sentence.
const base = new URL("api/", document.baseURI.endsWith("/") ? document.baseURI : document.baseURI + "/");

export class Fault extends Error {
  constructor(sentence, status) { super(sentence); this.status = status; }
}

async function answered(response) {
  let body = null;
  try { body = await response.json(); } catch { body = null; }
  if (!response.ok) throw new Fault(body?.fault ?? "The desk did not understand that.", response.status);
  return body;
}

async function reached(url, options) {
  try { return await fetch(url, options); }
  catch { throw new Fault("The desk does not answer. Start it again with “gracewright desk”; nothing decided is lost.", 0); }
}

export const address = (path, query = {}) => {
  const url = new URL(path, base);
  for (const [name, value] of Object.entries(query)) url.searchParams.set(name, value);
  return url;
};

export const ask = async (path, query) => answered(await reached(address(path, query)));

export const tell = async (path, body) => answered(await reached(address(path), {
  method: "POST", headers: { "Content-Type": "application/json", "X-Gracewright": "1" }, body: JSON.stringify(body),
}));

export const bring = async (file, query) => answered(await reached(address("bring", { ...query, name: file.name }), {
  method: "POST", headers: { "Content-Type": "application/octet-stream", "X-Gracewright": "1" }, body: file,
}));

export async function sound(query) {
  const response = await reached(address("sound", query));
  if (!response.ok) await answered(response);
  return response.arrayBuffer();
}
