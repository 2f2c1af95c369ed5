// The class desk renews itself: asks every two seconds whether the class has changed, and pauses while nobody looks.

const live = document.getElementById("live");
const said = document.getElementById("live-said");
const EVERY = 2000;
let failures = 0;

function swap(html) {
  const focused = document.activeElement && live.contains(document.activeElement) ? document.activeElement.id : "";
  const scroller = live.querySelector(".table-scroll");
  const left = scroller ? scroller.scrollLeft : 0;
  const open = [...live.querySelectorAll("details[open][id]")].map((block) => block.id);
  live.innerHTML = html;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  const renewed = live.querySelector(".table-scroll");
  if (renewed) renewed.scrollLeft = left;
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

async function look() {
  if (!document.hidden) {
    try {
      const response = await fetch(live.dataset.url, { headers: { "If-None-Match": live.dataset.tag }, redirect: "error" });
      if (response.status === 200) {
        live.dataset.tag = response.headers.get("ETag") || "";
        swap(await response.text());
      }
      if (failures >= 3) said.textContent = "";
      failures = 0;
    } catch {
      failures += 1;
      if (failures === 3) said.textContent = "No answer from the server: this page shows the class as it was. It goes on trying.";
    }
  }
  window.setTimeout(look, Math.min(EVERY * (1 + failures), 15000) + Math.random() * 300);
}

document.addEventListener("visibilitychange", () => {
  if (!document.hidden) failures = 0;
});
window.setTimeout(look, EVERY);
