// Telling a keyer early that somebody else has the sheet open, or has saved it.

const EVERY = 10000;

export function watchOthers({ url, version, place }) {
  let told = "";

  function tell(sentences) {
    const text = sentences.join("|");
    if (text === told) return;
    told = text;
    place.replaceChildren(
      ...sentences.map((sentence) => {
        const line = document.createElement("p");
        line.className = "notice is-warning";
        line.textContent = sentence;
        return line;
      }),
    );
  }

  async function look() {
    if (document.hidden) return;
    try {
      const response = await fetch(url, { headers: { Accept: "application/json" }, redirect: "error" });
      if (!response.ok) return;
      const state = await response.json();
      const sentences = state.open_by.map((name) => `${name} has this sheet open as well. Agree who keys it.`);
      if (state.version > version()) {
        sentences.unshift(
          `${state.changed_by || "Someone else"} saved this sheet at ${state.changed_at}. When you save, you see both side by side.`,
        );
      }
      tell(sentences);
    } catch {
      // no network now: the next look tells
    }
  }

  window.setInterval(look, EVERY + Math.random() * 2000);
  document.addEventListener("visibilitychange", look);
}
