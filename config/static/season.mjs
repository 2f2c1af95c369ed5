// Opens a row of the standings: its scores appear under it. Without this module the link leads to a page of their own.

async function open(link) {
  const row = link.closest("tr");
  const answer = await fetch(link.href, { headers: { "X-Part": "scores" }, credentials: "same-origin" });
  if (!answer.ok) throw new Error(String(answer.status));
  const under = document.createElement("tr");
  const cell = document.createElement("td");
  under.id = `scores-${crypto.getRandomValues(new Uint32Array(1))[0]}`;
  under.className = "opened";
  cell.colSpan = row.cells.length;
  cell.innerHTML = await answer.text();
  under.append(cell);
  row.after(under);
  link.setAttribute("aria-controls", under.id);
  return under;
}

function enhance(link) {
  const word = link.querySelector("[data-word]");
  const label = word.textContent;
  let under = null;
  link.setAttribute("aria-expanded", "false");
  link.setAttribute("role", "button");
  const toggle = async () => {
    if (link.getAttribute("aria-busy") === "true") return;
    if (under === null) {
      link.setAttribute("aria-busy", "true");
      try {
        under = await open(link);
        under.hidden = true;
      } catch {
        window.location.assign(link.href);
        return;
      } finally {
        link.removeAttribute("aria-busy");
      }
    }
    under.hidden = !under.hidden;
    link.setAttribute("aria-expanded", String(!under.hidden));
    word.textContent = under.hidden ? label : "Close";
  };
  link.addEventListener("click", (event) => {
    if (event.metaKey || event.ctrlKey || event.shiftKey) return;
    event.preventDefault();
    toggle();
  });
  link.addEventListener("keydown", (event) => {
    if (event.key !== " ") return;
    event.preventDefault();
    toggle();
  });
}

document.querySelectorAll("[data-opens]").forEach(enhance);
