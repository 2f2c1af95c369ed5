// Tells the rule of a championship in sentences while it is typed. Without this module the button "Show the rule" does.

const form = document.getElementById("championship");
const rule = document.getElementById("rule");
let timer = 0;
let asked = 0;

async function tell() {
  const mine = (asked += 1);
  const answer = await fetch(form.action, {
    method: "POST",
    body: new FormData(form),
    headers: { "X-Part": "rule" },
    credentials: "same-origin",
  });
  if (!answer.ok || mine !== asked) return;
  rule.innerHTML = await answer.text();
}

function soon() {
  clearTimeout(timer);
  timer = setTimeout(() => tell().catch(() => {}), 400);
}

form.addEventListener("input", soon);
form.addEventListener("change", soon);
