// The remarks beside a recording: each with a moment plays it from there, with its sheet's captions shown.

const film = document.getElementById("film");

function showCaptions(seat) {
  for (const track of film.textTracks) track.mode = track.id === `captions-${seat}` ? "showing" : "disabled";
}

function playFrom(button) {
  film.currentTime = Number(button.dataset.moment) / 1000;
  showCaptions(button.dataset.seat);
  film.play().catch(() => film.focus()); // the browser may want a touch of the film itself first
  film.scrollIntoView({ block: "nearest" });
}

if (film) {
  for (const button of document.querySelectorAll("[data-moment]")) button.addEventListener("click", () => playFrom(button));
  film.addEventListener("error", () => document.getElementById("film-fault").removeAttribute("hidden"));
}
