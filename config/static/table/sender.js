// Sending what was written, in its order, until each change has arrived. An answer that is lost is asked for again:
// the server knows every change by its name and takes it once.

const BATCH = 400;
const LONGEST_WAIT = 30000;
const PATIENCE = 20000;
const AFTER_DRAWING = 40; // what was touched is drawn first

export const csrfToken = () => /(?:^|;\s*)csrftoken=([^;]+)/.exec(document.cookie)?.[1] ?? "";

export class Sender extends EventTarget {
  constructor(book, root) {
    super();
    Object.assign(this, { book, root, state: "idle", said: "", busy: false, failures: 0, timer: 0, mark: 0 });
    book.addEventListener("changed", () => this.kick());
    window.addEventListener("online", () => this.kick({ now: true }));
    document.addEventListener("visibilitychange", () => document.hidden || this.kick({ now: true }));
  }

  // Sends soon; after failures only when the wait is over, or at once where something says that the network is back.
  kick({ now = false } = {}) {
    if (now) this.failures = 0;
    else if (this.timer) return;
    window.clearTimeout(this.timer);
    const wait = this.failures ? Math.min(LONGEST_WAIT, 500 * 2 ** this.failures) : AFTER_DRAWING;
    this.timer = window.setTimeout(() => {
      this.timer = 0;
      this.send();
    }, wait);
  }

  async send() {
    if (this.busy) return;
    const batch = this.batch();
    if (!batch.length) {
      if (this.state === "sending") this.say("idle");
      return;
    }
    this.busy = true;
    if (this.state === "idle") this.say("sending");
    try {
      await this.book.again();
      await this.book.tried(batch);
      await this.read(await this.post(batch));
    } catch {
      this.fail("offline");
    } finally {
      this.busy = false;
    }
    if (this.batch().length && this.state !== "other-user") this.kick();
  }

  // All up to what is still being written: nothing overtakes. Where the server stumbled over that twice, one sheet after
  // the other: what it stumbles over then keeps the other sheets back no longer.
  batch() {
    const sending = this.book.sending();
    const end = sending.findIndex((change) => change.open);
    const batch = sending.slice(0, end < 0 ? BATCH : Math.min(end, BATCH));
    if (this.state !== "trouble" || this.failures < 2) return batch;
    const places = [...new Set(batch.map((change) => `${change.entry}/${change.seat}`))];
    const place = places[this.failures % places.length];
    return batch.filter((change) => `${change.entry}/${change.seat}` === place);
  }

  post(batch) {
    const changes = batch.map(({ id, entry, seat, field, value, base, overGiven, deviceTime }) => ({ id, entry, seat, field, value, base, overGiven, deviceTime }));
    return fetch(`${this.root}changes/`, {
      method: "POST",
      body: JSON.stringify({ user: this.book.user.id, changes }),
      headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": csrfToken() },
      signal: AbortSignal.timeout(PATIENCE),
    });
  }

  async read(response) {
    const known = (response.headers.get("Content-Type") || "").startsWith("application/json");
    if (known && response.ok) {
      this.book.settle(await response.json());
      this.failures = 0;
      this.say(this.batch().length ? "sending" : "idle");
    } else if (known) {
      const { code, message } = await response.json();
      this.fail(["logged-out", "other-user"].includes(code) ? code : "trouble", message);
    } else if (response.status === 403) {
      this.fail("trouble", "The server wants to see this browser anew.");
      await fetch(`${this.root}days/`, { headers: { Accept: "application/json" } }); // brings the token that was missing
    } else this.fail("trouble", `The server answered ${response.status}.`);
  }

  fail(state, said = "") {
    this.failures += 1;
    this.say(state, said);
  }

  say(state, said = "") {
    Object.assign(this, { state, said });
    this.dispatchEvent(new Event("state"));
  }
}
