// Keeps the draft as it is typed, draws the form anew after a button, and shows the effect beside it. Without this module
// every button sends the whole form and the page comes back with it.

const PAUSE = 600;
const AGAIN = 5000;
const form = document.getElementById("editor");
const blocks = document.getElementById("blocks");
const beside = document.getElementById("beside");
const effect = document.getElementById("effect");
const lost = document.getElementById("lost");
const AWAY = "The server does not answer, so the last changes are not kept yet. They stand here and are sent again by themselves.";
const LOGGED_OUT = "You are no longer logged in, so the last changes are not kept yet. Log in in another window, then go on here.";
let timer = 0;
let sending = false;
let waiting = null;
let typedSince = false;

class Refused extends Error {}

function say(sentence) {
  lost.textContent = sentence;
  lost.hidden = !sentence;
}

function outdate() {
  if (!effect.hasChildNodes() || effect.classList.contains("is-outdated")) return;
  effect.classList.add("is-outdated");
  const note = document.createElement("p");
  note.className = "strong";
  note.textContent = "The rule has been changed since. Work the effect out again.";
  effect.prepend(note);
}

function showProblems(problems) {
  for (const list of form.querySelectorAll("[data-problems]")) {
    const id = list.id.slice(0, -"-problems".length);
    const found = problems[id] || [];
    list.replaceChildren(...found.map((sentence) => Object.assign(document.createElement("li"), { textContent: sentence })));
    const field = document.getElementById(id);
    if (field?.matches("input, select, textarea")) {
      if (found.length) field.setAttribute("aria-invalid", "true");
      else field.removeAttribute("aria-invalid");
    }
  }
}

async function post(act) {
  const body = new URLSearchParams(new FormData(form));
  body.set("act", act);
  const answer = await fetch(form.action, { method: "POST", body, headers: { "X-Part": "editor" }, credentials: "same-origin" });
  const type = answer.headers.get("Content-Type") || "";
  if (!type.startsWith("application/json")) throw new Refused(answer.redirected ? LOGGED_OUT : AWAY);
  const parts = await answer.json();
  if (!answer.ok) {
    say(parts.message);
    if (answer.status === 409) form.requestSubmit(form.querySelector('[value="draw"]'));
    return null;
  }
  return parts;
}

// One request at a time: what is typed meanwhile is sent after it, and a button waits for its turn.
async function send(act) {
  if (sending) {
    if (waiting === null || act !== "keep") waiting = act;
    return;
  }
  clearTimeout(timer);
  sending = true;
  typedSince = false;
  const redraws = act !== "keep";
  const active = document.activeElement;
  if (redraws) blocks.inert = true;
  try {
    const parts = await post(act);
    if (parts) {
      say("");
      form.elements.seen.value = parts.version;
      beside.innerHTML = parts.beside;
      outdate();
      if (parts.form) {
        blocks.innerHTML = parts.form;
        blocks.inert = false;
        focusAfter(act, active);
      } else showProblems(parts.problems);
    }
  } catch (error) {
    say(error instanceof Refused ? error.message : AWAY);
    timer = setTimeout(() => send("keep"), AGAIN);
  } finally {
    blocks.inert = false;
    sending = false;
  }
  if (waiting !== null) {
    const next = waiting;
    waiting = null;
    await send(next);
  } else if (typedSince) await send("keep");
}

function at(path) {
  return [...blocks.querySelectorAll("[data-path]")].find((block) => block.dataset.path === path);
}

function moved(path, by) {
  const match = /^(.*)\[(\d+)\]$/.exec(path);
  return match ? `${match[1]}[${Number(match[2]) + by}]` : path;
}

function focusAfter(act, active) {
  const [verb, path = "", number] = act.split(" ");
  const fields = "input:not([type=hidden]), select, textarea, summary, button";
  let target = null;
  if (verb === "add") {
    const list = at(path);
    const own = list ? [...list.querySelectorAll("[data-path]")].filter((one) => one.parentElement.closest("[data-path]") === list) : [];
    target = (own.at(-1) || list)?.querySelector(fields);
  } else if (verb === "up" || verb === "down") {
    const block = at(moved(path, verb === "up" ? -1 : 1));
    target = block?.querySelector(`button[value^="${verb} "]`) || block?.querySelector("button");
  } else if (verb === "put") target = at(path)?.querySelector(fields);
  else if (verb === "remove") target = at(path.replace(/[[#][^[#]*$/, ""))?.querySelector(".adders button, .adders summary");
  else if (verb === "drop") target = at(path)?.querySelector("button");
  else if (verb === "row") target = at(path)?.querySelector("[data-spare] input");
  else if (active?.id) target = document.getElementById(active.id);
  target?.focus();
}

form.addEventListener("input", () => {
  typedSince = true;
  clearTimeout(timer);
  timer = setTimeout(() => send("keep"), PAUSE);
});
form.addEventListener("change", (event) => {
  if (event.target.matches("[data-redraws]")) send("draw");
});
form.addEventListener("submit", (event) => {
  const act = event.submitter?.value || "keep";
  if (act === "save" || act === "draw") {
    clearTimeout(timer);
    return;
  }
  event.preventDefault();
  send(act);
});

async function idle() {
  while (sending || waiting !== null) await new Promise((resolve) => setTimeout(resolve, 50));
}

document.querySelectorAll("[data-effect]").forEach((link) => {
  link.addEventListener("click", async (event) => {
    if (event.metaKey || event.ctrlKey || event.shiftKey) return;
    event.preventDefault();
    link.setAttribute("aria-busy", "true");
    await send("keep");
    await idle();
    effect.textContent = "The ledger is being counted …";
    try {
      const answer = await fetch(link.href, { headers: { "X-Part": "effect" }, credentials: "same-origin" });
      if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
      effect.innerHTML = await answer.text();
      const more = document.createElement("p");
      more.append(Object.assign(document.createElement("a"), { href: link.href, textContent: "All rows, on a page of their own" }));
      effect.append(more);
      effect.classList.remove("is-outdated");
    } catch {
      window.location.assign(link.href);
    } finally {
      link.removeAttribute("aria-busy");
    }
  });
});
