// What the station is at just now, told on every view: it listens to an instrument, or it
// sounds a tone, which anyone may stop.

import { stopTone } from "./api.js";
import { el, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { hertz, uncertainty } from "./words.js";

export class UnderWay {
  #state;

  constructor(root, state) {
    this.#state = state;
    this.heard = el("a", { className: "under-way listening", href: "#reference", hidden: true });
    this.tone = el("span");
    const stop = el("button", { type: "button", onclick: () => this.#stop() }, "stop");
    this.toneRow = el("p", { className: "under-way", hidden: true }, this.tone, stop);
    root.append(this.heard, this.toneRow);
    state.onChange((what) => {
      if (what === "room") this.#update();
    });
  }

  #update() {
    const { measuring, tone } = this.#state.room;
    this.heard.hidden = measuring === null;
    if (measuring) say(this.heard, `listening to ${measuring.name}${this.#pitch(measuring.instrument)}`);
    this.toneRow.hidden = tone === null;
    if (tone) say(this.tone, `the station sounds ${this.#state.noteName(tone.note)}, ${hertz(tone.hz)} Hz`);
  }

  #pitch(instrument) {
    if (!instrument) return "";
    return `: ${hertz(instrument.a4_hz)} ${uncertainty(instrument.uncertainty_cents)}${instrument.enough ? ", enough" : ""}`;
  }

  async #stop() {
    try {
      await withCode((code) => stopTone(this.#state.by, code));
    } catch (error) {
      say(this.tone, error.message); // until the room says what is so
    }
  }
}
