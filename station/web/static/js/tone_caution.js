// Read once before the first tone: how not to harm one's ears. Common practice, no source.

import { el } from "./dom.js";
import { memory } from "./memory.js";

export class ToneCaution {
  /** The caution has been read and confirmed. */
  onRead = () => {};

  constructor() {
    this.node = el(
      "section",
      { className: "caution", "aria-label": "caution" },
      el("h3", {}, "Start low: a steady tone is louder than it seems."),
      el("p", {}, "Turn the loudspeaker or the amplifier down before you play it, and up only as far as you need."),
      el("p", {}, "Take headphones and in-ears off first. A loud steady tone can harm hearing within minutes: stop it as soon as you have your pitch."),
      el("button", { type: "button", className: "main", onclick: () => this.#confirm() }, "I have turned it down"),
    );
    this.update();
  }

  get isRead() {
    return memory.cautioned || this.node.hidden;
  }

  update() {
    this.node.hidden = this.isRead;
  }

  #confirm() {
    memory.cautioned = true;
    this.node.hidden = true;
    this.onRead();
  }
}
