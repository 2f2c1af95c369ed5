// The judge's table: one page that shows the days, a day or a sheet, from what this device keeps, and sends what was
// written. The network is never waited for.

import { Book } from "./book.js";
import { CommentaryPage } from "./commentary.js";
import { button, counted, el } from "./elements.js";
import { dayList } from "./day.js";
import { Sender } from "./sender.js";
import { SheetPage } from "./sheet.js";

const stage = document.getElementById("table");
const line = document.getElementById("state");
const alarm = document.getElementById("alarm");
const { root, login } = stage.dataset;
const book = new Book();
const sender = new Sender(book, root);
let sheet = null;
let listed = [];
let reached = null; // whether the server answered last
let ready = false;

const part = (text) => encodeURIComponent(text);
const addresses = {
  day: (day) => `${root}day/${part(day.slug)}/${day.date}/`,
  sheet: (day, cls, seat, entry) => `${root}sheet/${part(day.slug)}/${part(cls.number)}/${part(entry.number)}/${part(seat.seat)}/`,
  commentary: (day, cls, seat, entry) => `${root}commentary/${part(day.slug)}/${part(cls.number)}/${part(entry.number)}/${part(seat.seat)}/`,
  panel: (day, cls, seat) => `${root}panel/${part(day.slug)}/${part(cls.number)}/${part(seat.seat)}/`,
};

// Where we are

function placeOf(path) {
  const parts = path.slice(root.length).split("/").filter(Boolean).map(decodeURIComponent);
  if (parts[0] === "day") return { kind: "day", slug: parts[1], date: parts[2] };
  if (parts[0] === "sheet" || parts[0] === "commentary") return { kind: parts[0], slug: parts[1], cls: parts[2], entry: parts[3], seat: parts[4] };
  return { kind: "days" };
}

function findSheet(place) {
  for (const day of book.days.values()) {
    if (day.slug !== place.slug) continue;
    const cls = day.classes.find((found) => found.number === place.cls);
    const seat = cls?.seats.find((found) => found.seat === place.seat);
    const entry = cls?.entries.find((found) => found.number === place.entry);
    if (entry && seat) return { place: { day, cls, seat }, entry };
  }
  return null;
}

function show({ focus = true } = {}) {
  sheet?.leave();
  sheet = null;
  const place = placeOf(window.location.pathname);
  const found = ["sheet", "commentary"].includes(place.kind) ? findSheet(place) : null;
  if (found) sheet = place.kind === "sheet" ? new SheetPage({ book, ...found, addresses }) : commentaryPage(found);
  stage.dataset.kind = sheet ? "sheet" : "list";
  document.documentElement.dataset.table = stage.dataset.kind;
  stage.replaceChildren(sheet ? sheet.element : list(place));
  document.title = `${sheet ? sheet.title ?? `${sheet.entry.number} at ${sheet.seat.seat}` : "Judge's table"} – Markbook`;
  if (focus) stage.querySelector("h1")?.focus({ preventScroll: true });
  if (focus) window.scrollTo(0, 0);
  if (sheet) sheet.element.dataset.ready = "yes";
}

// When the commentary has become remarks, its sheet is shown with them.
function commentaryPage(found) {
  const { day, cls, seat } = found.place;
  return new CommentaryPage({
    book, ...found, addresses,
    onDone: (words) => {
      window.history.replaceState({}, "", addresses.sheet(day, cls, seat, found.entry));
      show();
      sheet.say(words);
    },
  });
}

function list(place) {
  const days = [...book.days.values()];
  if (place.kind === "day") {
    const day = book.days.get(`${place.slug}/${place.date}`);
    return el("div", {}, el("p", {}, el("a", { href: root }, "All days")), day ? dayList({ book, day, addresses }) : missing());
  }
  if (place.kind !== "days") return el("div", {}, el("p", {}, el("a", { href: root }, "All days")), missing());
  const current = listed.filter((row) => row.current).map((row) => book.days.get(`${row.slug}/${row.date}`)).filter(Boolean);
  const shown = current.length ? current : days.sort((a, b) => (a.date < b.date ? 1 : -1)).slice(0, 1);
  const others = listed.filter((row) => !shown.some((day) => day.slug === row.slug && day.date === row.date));
  const parts = shown.map((day, index) => dayList({ book, day, addresses, heading: index ? "h2" : "h1" }));
  if (!shown.length) parts.push(missing());
  else parts.push(el("p", {}, el("a", { href: `${root}judging/` }, "My judging: sheets to finish, my marks and the panels'")));
  if (others.length) {
    parts.push(el("section", { className: "section", "aria-label": "Other days" }, el("h2", {}, "Other days"),
      el("ul", { className: "ledger" }, others.map((row) => el("li", {}, el("span", { className: "ledger-main" }, el("a", { href: addresses.day(row) }, row.title)), el("span", { className: "ledger-side" }, `${row.date} · ${counted(row.classes.length, "class", "classes")}`))))));
  }
  return el("div", {}, parts);
}

function missing() {
  let words = "Opening …";
  if (sender.state === "logged-out") words = "You are logged out. Log in to open your sheets.";
  else if (reached === false) words = "This is not kept on this device, and the server does not answer. Open it once with the network, then it works without.";
  else if (reached) words = listed.length ? "There is no such sheet for you. The entry or your seat may have been changed." : "You judge at no seat yet. Ask the show office to name you on the panel of a class with your account.";
  return el("div", {}, el("h1", { tabIndex: -1 }, "Judge's table"), el("p", { className: "empty" }, words));
}

// What is kept, what has arrived

function stateWords() {
  const waiting = book.own().length;
  const undecided = book.own().filter((change) => change.held || change.refused).length;
  const sent = waiting - undecided;
  const undecidedWords = undecided ? ` ${counted(undecided, "change needs", "changes need")} you to decide.` : "";
  if (book.trouble) return ["alert", `Not kept on this device: ${book.trouble}. ${counted(waiting, "change is", "changes are")} only on this screen until sent.`];
  if (!book.user && reached === null) return ["busy", "Opening …"]; // whose changes wait here is not known yet
  if (sender.state === "logged-out" && !book.user) return ["warn", "You are logged out."];
  if (sender.state === "logged-out") return ["warn", `You are logged out. ${counted(sent, "change is", "changes are")} kept here and sent after you log in.`];
  if (sender.state === "other-user") return ["warn", `${sender.said} ${counted(sent, "change", "changes")} of ${book.user.name} are kept here.`];
  if (sender.state === "trouble") return ["warn", `${sender.said} ${counted(sent, "change is", "changes are")} kept here and sent again by itself.`];
  if (sender.state === "offline" || reached === false) return ["warn", sent ? `No network. ${counted(sent, "change is", "changes are")} kept here and sent when it is back.${undecidedWords}` : `No network. All is kept here and has arrived.${undecidedWords}`];
  if (undecided) return ["warn", undecidedWords.trim()];
  if (sent) return ["busy", `${counted(sent, "change", "changes")} kept here, on the way.`];
  return ["done", ready ? "All has arrived. This device works without network." : "All has arrived."];
}

function drawState() {
  const [kind, words] = stateWords();
  if (line.textContent !== words) line.textContent = words;
  line.dataset.kind = kind;
  line.dataset.waiting = String(book.own().length);
  line.dataset.unkept = String(book.unkept);
  const wanted = ["logged-out", "other-user"].includes(sender.state) ? sender.state : "";
  if (alarm.dataset.kind === wanted) return;
  alarm.dataset.kind = wanted;
  const words2 = wanted === "logged-out" ? "Log in again" : "Log in as yourself";
  alarm.replaceChildren(...(wanted ? [el("p", { className: "notice is-warning" }, book.user ? "Go on writing: nothing is lost. " : "", el("a", { className: "strong", href: `${login}?next=${encodeURIComponent(window.location.pathname)}` }, words2))] : []));
}

// The server's days

class Refused extends Error {} // the server is there, and said no

async function ask(address) {
  const response = await fetch(address, { headers: { Accept: "application/json" }, signal: AbortSignal.timeout(20000) });
  if (response.status === 401) sender.say("logged-out");
  else if (!response.ok) sender.say("trouble", `The server answered ${response.status}.`);
  if (!response.ok) throw new Refused(response.status);
  return response.json();
}

async function refresh() {
  try {
    const found = await ask(`${root}days/`);
    reached = true;
    book.beUser(found.user);
    listed = found.days;
    book.set("listed", listed);
    if (["offline", "logged-out", "other-user", "trouble"].includes(sender.state)) sender.say("idle");
    sender.kick({ now: true });
    const place = placeOf(window.location.pathname);
    const wanted = listed.filter((row) => row.current || (row.slug === place.slug && (row.date === place.date || row.classes.includes(place.cls))));
    for (const row of wanted) book.takeDay(await ask(`${addresses.day(row)}data/`));
  } catch (error) {
    if (!(error instanceof Refused)) reached = false;
  }
  if (!sheet) show({ focus: false });
  drawState();
  await arm();
}

// Without a worker the page itself cannot be opened without network; then that is said, and nothing else is promised.
async function arm() {
  if (!navigator.serviceWorker || !book.days.size) return;
  try {
    await navigator.serviceWorker.register(`${root}worker.js`, { scope: root });
    await navigator.serviceWorker.ready;
    await book.kept();
    ready = !book.trouble;
    navigator.storage?.persist?.();
  } catch {
    ready = false;
  }
  drawState();
}

// Put together

document.addEventListener("click", (event) => {
  const link = event.target.closest("a");
  if (!link || event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey || link.origin !== window.location.origin) return;
  if (!link.pathname.startsWith(root) || ["panel/", "judging/"].some((own) => link.pathname.startsWith(`${root}${own}`))) return; // pages of the server
  event.preventDefault();
  window.history.pushState({}, "", link.pathname);
  show();
  const place = placeOf(link.pathname);
  if (place.kind === "day" || place.kind === "days") refresh();
});
window.addEventListener("popstate", () => show());
window.addEventListener("pagehide", () => sheet?.finish());
document.addEventListener("visibilitychange", () => {
  if (document.hidden) sheet?.finish();
  else if (!sheet) refresh();
});
window.addEventListener("beforeunload", (event) => {
  if (book.trouble && book.own().length) event.preventDefault();
});
book.addEventListener("changed", () => {
  drawState();
  if (sheet) sheet.draw();
});
book.addEventListener("kept", drawState);
book.addEventListener("left", async () => {
  await book.kept();
  if (!book.trouble) window.location.reload(); // else what is written here is on this screen only
});
sender.addEventListener("state", () => {
  if (sender.state === "idle" || sender.state === "sending") reached = true;
  drawState();
});
window.addEventListener("offline", () => {
  reached = false;
  drawState();
});
window.addEventListener("online", refresh);

await book.open();
listed = book.settings.listed || [];
if (book.days.size) show({ focus: false });
drawState();
await refresh();
stage.dataset.ready = "yes";
