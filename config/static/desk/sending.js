// A form leaves this page only while the server answers: a page that the browser puts in its place takes what was typed.

const PATIENCE = 8000;

function tell(form) {
  let said = form.querySelector(".not-sent");
  if (!said) {
    said = document.createElement("p");
    said.className = "form-errors not-sent";
    said.setAttribute("role", "alert");
    form.append(said);
  }
  said.textContent = "Not sent: the server does not answer. Everything that you typed is still here. Try again in a moment.";
}

async function serverAnswers() {
  const probe = document.querySelector('link[rel="stylesheet"]').href;
  try {
    await fetch(probe, { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(PATIENCE) });
    return true;
  } catch {
    return false;
  }
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  const step = form.dataset.sending;
  if (event.defaultPrevented || form.method !== "post") return;
  if (step === "now") {
    form.dataset.sending = "sent";
    return;
  }
  event.preventDefault();
  if (step) return; // pressed twice
  form.dataset.sending = "asking";
  if (await serverAnswers()) {
    form.querySelector(".not-sent")?.remove();
    form.dataset.sending = "now";
    form.requestSubmit(event.submitter);
  } else {
    delete form.dataset.sending;
    tell(form);
  }
});

// Shown again by going back, the page may be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sending]")) delete form.dataset.sending;
});
