// A film with the few things that a judge needs: play, back, slower, where it is, and to a moment. It says in words when
// it cannot be played; what is written beside it does not wait for it.

const BACK = 5;
const SLOW = 0.5;

export class Player extends EventTarget {
  constructor(video) {
    super();
    Object.assign(this, { video, fault: "", seen: false });
    for (const name of ["play", "pause", "ratechange", "timeupdate", "loadedmetadata", "seeked"]) video.addEventListener(name, () => this.changed());
    video.addEventListener("playing", () => {
      this.seen = true;
      this.fault = "";
      this.changed();
    });
    video.addEventListener("error", () => this.fail());
    video.addEventListener("stalled", () => navigator.onLine || this.fail());
    this.again = () => this.fault && this.reload();
    window.addEventListener("online", this.again);
  }

  // Where the film is, in milliseconds; null while nothing of it has been looked at.
  get moment() {
    const { currentTime } = this.video;
    return this.seen || currentTime > 0 ? Math.round(currentTime * 1000) : null;
  }

  get slow() {
    return this.video.playbackRate < 1;
  }

  toggle() {
    if (this.fault) this.reload();
    if (this.video.paused) this.video.play().catch(() => this.video.error && this.fail());
    else this.video.pause();
  }

  back() {
    this.seen ||= this.video.currentTime > 0;
    this.video.currentTime = Math.max(0, this.video.currentTime - BACK);
  }

  slower() {
    this.video.playbackRate = this.slow ? 1 : SLOW;
  }

  go(moment, { play = true } = {}) {
    this.seen = true;
    this.video.currentTime = moment / 1000;
    if (play && this.video.paused) this.toggle();
  }

  fail() {
    this.fault = navigator.onLine ? "The recording does not play: the server does not answer, or this browser does not know this kind of film." : "The recording needs the network, which is not there now.";
    this.changed();
  }

  // The film goes on where it was: the network is back, or somebody tries again.
  reload() {
    const at = this.video.currentTime;
    this.fault = "";
    this.video.load();
    this.video.currentTime = at;
    this.changed();
  }

  leave() {
    window.removeEventListener("online", this.again);
    this.video.pause();
    this.video.removeAttribute("src");
    this.video.load(); // lets go of the network
  }

  changed() {
    this.dispatchEvent(new Event("changed"));
  }
}
