// Shows how far a report is: asks for the state part of the page until it is done or has failed.
const STEPS = [500, 700, 1000, 1500, 2000];

function pause(milliseconds) {
  return new Promise((resolve) => setTimeout(resolve, milliseconds));
}

async function visible() {
  while (document.hidden) {
    await new Promise((resolve) => document.addEventListener("visibilitychange", resolve, { once: true }));
  }
}

async function follow(place) {
  for (let asked = 0; place.querySelector("[data-waiting]"); asked += 1) {
    await pause(STEPS[Math.min(asked, STEPS.length - 1)] * (0.9 + Math.random() * 0.2));
    await visible();
    try {
      const answer = await fetch(place.dataset.state, { headers: { "X-Part": "state" }, cache: "no-store" });
      if (answer.ok) {
        show(place, await answer.text());
      } else if (answer.status === 403 || answer.status === 404) {
        location.reload();
        return;
      }
    } catch {
      // The network is away: what is shown stays, and the next turn asks again.
    }
  }
}

function show(place, part) {
  if (place.innerHTML.trim() !== part.trim()) {
    place.innerHTML = part;
    if (!place.querySelector("[data-waiting]") && !("quiet" in place.dataset)) {
      place.querySelector("a, button")?.focus();
    }
  }
}

const place = document.getElementById("report-state");
if (place) {
  follow(place);
}
