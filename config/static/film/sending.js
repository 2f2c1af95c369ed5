// Sends a film in pieces. What has arrived is what the server says; where the network breaks off, it is asked again and
// the sending goes on from there, also after the browser or the server was started anew.

const SMALLEST = 256 * 1024;
const LARGEST = 4 * 1024 * 1024;
const QUICK = 1500;
const SLOW = 6000;
const LONGEST_WAIT = 20000;
const PATIENCE = 120000;

const form = document.getElementById("send");
const byId = (id) => document.getElementById(id);
const token = form.querySelector("[name=csrfmiddlewaretoken]").value;
const after = (time) => new Promise((done) => setTimeout(done, time));
let sending = null;

class Refused extends Error {}

// Ends when it has taken too long, or when somebody stops it.
async function within(act) {
  const own = new AbortController();
  const end = () => own.abort();
  const clock = setTimeout(end, PATIENCE);
  sending.stop.signal.addEventListener("abort", end);
  try {
    return await act(own.signal);
  } finally {
    clearTimeout(clock);
    sending?.stop.signal.removeEventListener("abort", end);
  }
}

async function ask(method, address, { body, headers = {} } = {}) {
  const sent = { method, body, headers: { Accept: "application/json", "X-CSRFToken": token, ...headers } };
  const response = await within((signal) => fetch(address, { ...sent, signal }));
  if (response.ok) return response.status === 204 ? null : response.json();
  const said = (response.headers.get("Content-Type") || "").startsWith("application/json") ? await response.json() : {};
  if (response.status === 409 && method === "PUT") return { moved: true };
  if (response.status === 413 && method === "PUT" && body.size > SMALLEST) return { tooLarge: true };
  if (response.status >= 500 || response.status === 429 || response.status === 409) throw new Error(said.message);
  throw new Refused(said.message || `The server answered ${response.status}. Log in again in another window, then go on here.`);
}

// Asks until there is an answer; only a refusal ends it. Nothing is lost by asking again.
async function insist(act) {
  for (let failures = 0; ; failures += 1) {
    try {
      const answer = await act();
      if (failures) say("The network is back. Sending goes on.");
      return answer;
    } catch (error) {
      if (error instanceof Refused || sending.stop.signal.aborted) throw error;
      say("The network does not answer. What has arrived is kept; sending goes on by itself.");
      await Promise.race([after(Math.min(LONGEST_WAIT, 1000 * 2 ** failures)), new Promise((done) => window.addEventListener("online", done, { once: true }))]);
    }
  }
}

function say(words) {
  byId("sending-said").textContent = words;
}

function show({ arrived, length }) {
  const part = length ? Math.floor((100 * arrived) / length) : 0;
  byId("sent").hidden = false;
  byId("sent").value = part;
  say(`${part} % of the film has arrived.`);
}

function camera() {
  const found = new FormData(form);
  const height = String(found.get("film-camera_height")).trim();
  if (height && !/^\d{1,4}$/.test(height)) throw new Refused(`"${height}" is no height in whole centimetres. Write it as 250, or leave it empty.`);
  return { camera_letter: found.get("film-camera_letter"), camera_place: found.get("film-camera_place"), camera_height: height ? Number(height) : null };
}

function refuseFile(file) {
  if (!file) throw new Refused("Choose the film first.");
  const { largest } = form.dataset;
  if (file.size > Number(largest)) throw new Refused(`The film has ${Math.ceil(file.size / 1e6)} MB; at most ${Math.floor(Number(largest) / 1e6)} MB are taken. Save it smaller, or name a link to it.`);
}

async function send(file) {
  const announced = { name: file.name.slice(-255) || "film", length: file.size, modified: String(file.lastModified), ...camera() };
  const begun = await insist(() => ask("POST", form.dataset.uploads, { body: JSON.stringify(announced), headers: { "Content-Type": "application/json" } }));
  const address = `${form.dataset.uploads}${begun.id}/`;
  await sendPieces(file, address, begun);
  say("All of it has arrived. It is looked at now.");
  await insist(() => ask("POST", `${address}finish/`));
}

async function sendPieces(file, address, begun) {
  let { arrived } = begun;
  let size = SMALLEST;
  let largest = Math.min(LARGEST, begun.largest_piece);
  show({ arrived, length: file.size });
  while (arrived < file.size) {
    const end = Math.min(file.size, arrived + size);
    const began = performance.now();
    const answer = await insist(() => ask("PUT", address, { body: file.slice(arrived, end), headers: { "Content-Type": "application/octet-stream", "Content-Range": `bytes ${arrived}-${end - 1}/${file.size}` } }));
    if (answer.tooLarge) { // something on the way takes smaller ones only
      largest = Math.max(SMALLEST, Math.floor(size / 2));
      size = largest;
      continue;
    }
    const state = answer.moved ? await insist(() => ask("GET", address)) : answer; // another window sends it too
    if (state.state !== "arriving") throw new Refused("This upload was ended elsewhere. Look at this page anew.");
    const took = performance.now() - began;
    if (took < QUICK) size = Math.min(largest, size * 2);
    else if (took > SLOW) size = Math.max(SMALLEST, Math.floor(size / 2));
    arrived = state.arrived;
    show(state);
  }
}

function busy(on) {
  form.querySelector("[type=submit]").disabled = on;
  for (const field of form.elements) if (field.type !== "submit" && field.type !== "button") field.disabled = on;
  byId("stop").hidden = !on;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (sending) return;
  sending = { stop: new AbortController() };
  byId("film-problem").textContent = "";
  try {
    const [file] = byId("film").files;
    refuseFile(file);
    const work = send(file);
    busy(true);
    await work;
    sending = null;
    window.location.reload();
  } catch (error) {
    const stopped = sending.stop.signal.aborted;
    sending = null;
    busy(false);
    if (stopped) say("Stopped. What has arrived is kept for three days: choose the same file to go on.");
    else {
      say("");
      byId("film-problem").textContent = error instanceof Refused ? error.message : "The film can no longer be read on this device. Choose it again.";
    }
  }
});
byId("stop").addEventListener("click", () => sending?.stop.abort());
window.addEventListener("beforeunload", (event) => sending && event.preventDefault());
