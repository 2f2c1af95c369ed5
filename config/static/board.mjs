// Keeps a board up to date: asks for its rows every two seconds (or as data-every says), rests while nobody looks, and
// says so plainly when there is no connection. What was shown last stays on the page, and what was opened stays open.

const LONGEST_WAIT_MS = 15000;
const GIVE_UP_MS = 8000;

const board = document.getElementById("board");
const news = document.getElementById("board-news");
const EVERY_MS = Number(board.dataset.every ?? 2000);
const clock = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", second: "2-digit" });

let etag = board.dataset.etag;
let timer = 0;
let failures = 0;
let heardAt = new Date();
let asking = false;

function say(text, lost) {
  if (news.textContent === text) return;
  news.textContent = text;
  news.classList.toggle("is-lost", lost);
}

function place(html) {
  const focused = board.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
  const scroller = board.querySelector(".table-scroll");
  const left = scroller ? scroller.scrollLeft : 0;
  const opened = [...board.querySelectorAll("details[id][open]")].map((details) => details.id);
  const openFocus = document.activeElement?.closest("details[id]")?.id;
  board.innerHTML = html;
  for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
  if (openFocus) document.getElementById(openFocus)?.querySelector("summary")?.focus({ preventScroll: true });
  const again = board.querySelector(".table-scroll");
  if (again) again.scrollLeft = left;
  if (focused) {
    for (const link of board.querySelectorAll("a[href]")) {
      if (link.getAttribute("href") === focused) {
        link.focus({ preventScroll: true });
        break;
      }
    }
  }
}

async function ask() {
  const answer = await fetch(board.dataset.rows, {
    headers: { "If-None-Match": etag },
    cache: "no-store",
    credentials: "same-origin",
    signal: AbortSignal.timeout(GIVE_UP_MS),
  });
  if (answer.status === 304) return "same";
  if (answer.status === 404) return "gone";
  if (!answer.ok) throw new Error(String(answer.status));
  place(await answer.text());
  etag = answer.headers.get("ETag") ?? etag;
  return "new";
}

async function poll() {
  if (asking || document.hidden) return;
  asking = true;
  clearTimeout(timer);
  try {
    const outcome = await ask();
    failures = 0;
    heardAt = new Date();
    if (outcome === "gone") {
      say("This is no longer shown. Reload the page to see why.", true);
      return;
    }
    if (outcome === "new") say(`New results came in at ${clock.format(heardAt)}.`, false);
    else if (news.classList.contains("is-lost") || !news.textContent) say("New results appear here by themselves.", false);
  } catch {
    failures += 1;
    if (failures > 1 || !navigator.onLine) {
      say(`No connection. What you see is as of ${clock.format(heardAt)}; it is asked for again until it comes.`, true);
    }
  } finally {
    asking = false;
  }
  plan();
}

function plan() {
  clearTimeout(timer);
  const wait = Math.min(EVERY_MS * 2 ** Math.max(0, failures - 1), LONGEST_WAIT_MS);
  timer = setTimeout(poll, wait * (0.85 + Math.random() * 0.3));
}

document.addEventListener("visibilitychange", () => {
  if (document.hidden) clearTimeout(timer);
  else poll();
});
window.addEventListener("online", poll);
plan();
