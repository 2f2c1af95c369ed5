// Moving rides in the running order: by dragging a row, or with its Up and Down buttons without a reload.

const list = document.getElementById("order-list");
const actions = document.getElementById("order-actions");
const said = document.getElementById("order-said");

if (list && actions) {
  const rows = () => [...list.querySelectorAll(".order-row")];
  const before = rows().map((row) => row.querySelector("input").value).join();

  const changed = (row) => {
    const all = rows();
    const times = all.map((each) => each.querySelector(".order-time"));
    const moved = all.map((each) => each.querySelector("input").value).join() !== before;
    actions.hidden = !moved;
    list.classList.toggle("is-moved", moved);
    for (const [place, each] of all.entries()) {
      const [up, down] = each.querySelectorAll("button");
      up.disabled = place === 0;
      down.disabled = place === all.length - 1;
      times[place].setAttribute("aria-hidden", String(moved));
    }
    if (row) {
      const number = row.querySelector(".order-number").textContent;
      said.textContent = `Number ${number} rides at place ${all.indexOf(row) + 1} of ${all.length}. Not saved yet.`;
    }
  };

  const move = (row, by) => {
    const all = rows();
    const other = all[all.indexOf(row) + by];
    if (!other) return;
    if (by < 0) list.insertBefore(row, other);
    else list.insertBefore(row, other.nextElementSibling);
    changed(row);
  };

  list.addEventListener("click", (event) => {
    const button = event.target.closest('button[name="move"]');
    if (!button) return;
    event.preventDefault();
    const row = button.closest(".order-row");
    const up = button.value.startsWith("up-");
    move(row, up ? -1 : 1);
    const [upButton, downButton] = row.querySelectorAll("button");
    const same = up ? upButton : downButton;
    (same.disabled ? (up ? downButton : upButton) : same).focus();
    row.scrollIntoView({ block: "nearest" });
  });

  list.addEventListener("keydown", (event) => {
    const row = event.target.closest(".order-row");
    if (!row || !event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    event.preventDefault();
    const focused = event.target;
    move(row, event.key === "ArrowUp" ? -1 : 1);
    if (!focused.disabled) focused.focus();
  });

  let dragged = null;
  for (const row of rows()) {
    row.draggable = true;
    row.addEventListener("dragstart", (event) => {
      dragged = row;
      row.classList.add("is-dragged");
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", row.querySelector("input").value);
    });
    row.addEventListener("dragend", () => {
      row.classList.remove("is-dragged");
      dragged = null;
      changed(row);
    });
  }
  list.addEventListener("dragover", (event) => {
    const row = event.target.closest(".order-row");
    if (!dragged || !row) return;
    event.preventDefault();
    if (row === dragged) return;
    const { top, height } = row.getBoundingClientRect();
    list.insertBefore(dragged, event.clientY < top + height / 2 ? row : row.nextElementSibling);
  });
  list.addEventListener("drop", (event) => event.preventDefault());

  document.getElementById("order-form").addEventListener("submit", () => { actions.dataset.leaving = "yes"; });
  window.addEventListener("beforeunload", (event) => {
    if (!actions.hidden && !actions.dataset.leaving) event.preventDefault();
  });
}
