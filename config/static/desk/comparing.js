// Two keyings side by side, decided from the number pad: 1, 2 or 3 chooses, Enter goes on, a digit is one of the reasons.

const form = document.getElementById("settle");
const rows = form ? [...form.querySelectorAll(".settle-row")] : [];
const reasons = new Map([...document.querySelectorAll("[data-reason]")].map((found) => [found.dataset.reason, found.textContent]));
const part = (row, name) => document.getElementById(`${row.id}-${name}`);

function goTo(field) {
  field.focus();
  if (field.select && field.type === "text") field.select();
  (field.closest(".settle-row") || field).scrollIntoView({ block: "nearest" });
}

function goToRow(place) {
  if (place < 0) return;
  if (place < rows.length) goTo(rows[place].querySelector("input[type=radio]:checked") || part(rows[place], "1"));
  else goTo(document.getElementById("settle-save"));
}

function choose(row, which) {
  part(row, which).checked = true;
  goTo(part(row, which === "3" ? "other" : "why"));
}

function spelledOut(field) {
  field.value = reasons.get(field.value.trim()) ?? field.value;
}

rows.forEach((row, place) => {
  for (const radio of row.querySelectorAll("input[type=radio]")) {
    radio.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      if (["1", "2", "3"].includes(event.key)) choose(row, event.key);
      else if (event.key === "Enter" || event.key === "+") goToRow(place + 1);
      else if (event.key === "-") goToRow(place - 1);
      else return;
      event.preventDefault();
    });
  }
  part(row, "other").addEventListener("input", () => { part(row, "3").checked = true; });
  part(row, "other").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    goTo(part(row, "why"));
  });
  part(row, "why").addEventListener("change", () => spelledOut(part(row, "why")));
  part(row, "why").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    spelledOut(part(row, "why"));
    goToRow(place + 1);
  });
});

const all = document.getElementById("reason-all");
all?.addEventListener("change", () => spelledOut(all));
document.getElementById("settle-save")?.addEventListener("keydown", (event) => {
  if (event.key !== "-") return;
  event.preventDefault();
  goToRow(rows.length - 1);
});
if (rows.length) goToRow(0);
if (form) form.dataset.ready = "yes";
