// The recording of the record: its waveform, the words as they are spoken, and the moment of a fact. Loaded when it is first needed.

import { say } from "./net.js";

const AROUND_S = 0.35;

class Player {
  constructor(place) {
    this.place = place;
    this.audio = new Audio();
    this.audio.preload = "none";
    this.words = [];
    this.until = Infinity;
    if (!place) return;
    this.canvas = place.querySelector("#wave");
    this.range = place.querySelector("#place");
    this.button = place.querySelector("#play");
    this.clock = place.querySelector("#clock");
    this.spoken = place.querySelector("#spoken");
    this.button.addEventListener("click", () => this.toggle());
    this.range.addEventListener("input", () => {
      this.until = Infinity;
      this.audio.currentTime = Number(this.range.value);
      this.paint();
    });
    this.spoken.addEventListener("click", (event) => {
      const word = event.target.closest("[data-at]");
      if (word) this.hear(Number(word.dataset.at), Infinity);
    });
    for (const name of ["play", "pause", "ended"]) this.audio.addEventListener(name, () => this.state());
    this.audio.addEventListener("seeked", () => this.paint());
    new ResizeObserver(() => this.paint()).observe(this.canvas);
    this.load();
  }

  async load() {
    const answer = await fetch(`${this.place.dataset.from}.json`).catch(() => null);
    if (!answer?.ok) {
      // The record can be reviewed without its sound; the moments would be promises.
      await answer?.body?.cancel();
      for (const button of document.querySelectorAll(".hear")) button.hidden = true;
      return;
    }
    Object.assign(this, await answer.json());
    this.audio.src = this.place.dataset.from;
    this.range.max = this.duration_s;
    this.place.hidden = false;
    document.body.classList.add("with_player");
    this.paint();
  }

  /** Makes the buttons of moments in `root` work. */
  connect(root) {
    if (!this.place) return;
    for (const button of root.querySelectorAll(".hear")) {
      button.addEventListener("click", (event) => {
        event.stopPropagation();
        this.hear(Number(button.dataset.from), Number(button.dataset.to));
      });
    }
  }

  hear(from, to) {
    this.until = to + AROUND_S;
    this.audio.currentTime = Math.max(0, from - AROUND_S);
    this.audio.play();
  }

  toggle() {
    this.until = Infinity;
    if (this.audio.paused) this.audio.play();
    else this.audio.pause();
  }

  state() {
    const on = !this.audio.paused;
    this.button.classList.toggle("on", on);
    this.button.setAttribute("aria-label", say(on ? "board.pause" : "board.play"));
    if (on) this.follow();
  }

  follow() {
    if (this.audio.paused) return;
    if (this.audio.currentTime >= this.until) this.audio.pause();
    this.paint();
    requestAnimationFrame(() => this.follow());
  }

  paint() {
    if (!this.peaks) return;
    const { canvas } = this;
    const ratio = devicePixelRatio || 1;
    const width = (canvas.width = canvas.clientWidth * ratio);
    const height = (canvas.height = 44 * ratio);
    const pen = canvas.getContext("2d");
    const style = getComputedStyle(canvas);
    const now = this.audio.currentTime;
    const bars = Math.max(1, Math.floor(width / (3 * ratio)));
    const loudest = Math.max(...this.peaks, 1);
    for (let bar = 0; bar < bars; bar++) {
      const first = Math.floor((bar * this.peaks.length) / bars);
      const last = Math.max(first + 1, Math.floor(((bar + 1) * this.peaks.length) / bars));
      const peak = Math.max(...this.peaks.slice(first, last)) / loudest;
      const tall = Math.max(2 * ratio, peak * height);
      pen.fillStyle = style.getPropertyValue((bar / bars) * this.duration_s <= now ? "--pine" : "--edge");
      pen.fillRect((bar * width) / bars, (height - tall) / 2, 2 * ratio, tall);
    }
    this.range.value = now;
    this.range.setAttribute("aria-valuetext", minutes(now));
    this.clock.textContent = `${minutes(now)} / ${minutes(this.duration_s)}`;
    this.say(now);
  }

  /** The words around the moment, the one that is spoken marked. */
  say(now) {
    let at = this.words.findIndex(([, , end]) => end > now);
    if (at < 0) at = this.words.length - 1;
    if (at === this.at) return;
    this.at = at;
    const from = Math.max(0, at - 5);
    this.spoken.replaceChildren(
      ...this.words.slice(from, at + 9).flatMap(([text, start], place) => {
        const word = document.createElement(place + from === at ? "mark" : "span");
        word.dataset.at = start;
        word.textContent = text;
        return [word, " "];
      }),
    );
  }
}

const minutes = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, "0")}`;

export const player = new Player(document.getElementById("player"));
