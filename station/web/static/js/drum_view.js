// A drummer's "my strings": what five taps on a drum say, for eyes two metres away and
// hands that hold sticks.

import { tapsAgain } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";
import { DrumPlot } from "./drum_plot.js";
import { DrumTails } from "./drum_tails.js";
import { centsWords, countWords, EARS, FIRST_HINT, hertzWords, kindWords, smallWords, strokeWords } from "./drum_words.js";
import { memory } from "./memory.js";
import { faultLine } from "./sheet.js";

export class DrumView {
  /** The drummer wants more of this drum than its pitch. */
  onMore = () => {};
  #state;

  constructor(state) {
    this.#state = state;
    this.note = el("strong", { id: "drum-note" });
    this.cents = el("span", { id: "drum-cents" });
    this.hertz = el("span", { className: "soft" });
    this.pitch = el("p", { className: "drum-pitch" }, this.note, el("span", { className: "drum-figures" }, this.cents, this.hertz));
    this.plot = new DrumPlot((note) => state.noteName(note));
    this.tails = new DrumTails();
    this.count = el("strong");
    this.stroke = el("span");
    this.status = el("p", { className: "drum-status", role: "status" }, this.count, this.stroke);
    this.kind = el("p", { className: "drum-kind" });
    this.small = el("p", { className: "drum-small soft" });
    this.caution = el("p", { className: "drum-caution" }, EARS);
    this.fault = faultLine();
    this.asking = new Asking(this.fault);
    this.again = el("button", { type: "button", className: "drum-again", onclick: () => this.#startAgain() }, "again");
    this.more = el("button", { type: "button", className: "drum-more", onclick: () => this.onMore() }, "drum \u2026");
    this.node = el(
      "div",
      { className: "drum" },
      this.pitch,
      this.plot.node,
      this.tails.node,
      el("div", { className: "drum-words" }, this.status, this.kind, this.small, this.caution, this.fault),
      el("div", { className: "drum-buttons" }, this.again, this.more),
    );
  }

  /** A drummer's taps; `fault` keeps the station from hearing any, or is null. */
  update(player, fault, hum) {
    const { taps } = player;
    const nothing = taps.strokes.length === 0;
    mark(this.node, "state", nothing ? "waiting" : "tapped");
    this.again.disabled = nothing;
    this.#sayCaution(nothing);
    say(this.count, nothing ? "" : countWords(taps));
    say(this.stroke, nothing ? "" : (fault ?? strokeWords(taps)));
    say(this.kind, kindWords(taps.tap));
    say(this.small, smallWords(taps));
    this.#sayPitch(taps.tap);
    this.tails.node.hidden = !taps.tap;
    if (nothing) {
      this.plot.showNothing(fault ?? FIRST_HINT, hum);
      return;
    }
    this.tails.update(taps.tap?.ring_s ?? null, taps.tap?.overtone_ring_s ?? null);
    this.plot.show(taps, this.#state.room.reference.a4_hz);
  }

  #sayPitch(tap) {
    this.pitch.hidden = !tap;
    say(this.note, tap ? this.#state.noteName(tap.note) : "");
    mark(this.pitch, "long", this.note.textContent.length > 3 ? "yes" : null);
    say(this.cents, tap ? centsWords(tap) : "");
    say(this.hertz, tap ? hertzWords(tap) : "");
  }

  // Once: whoever has tapped with it before their eyes has read it.
  #sayCaution(nothing) {
    if (!nothing && !this.caution.hidden) memory.earsTold = true;
    this.caution.hidden = !nothing || memory.earsTold;
  }

  async #startAgain() {
    const { me } = this.#state;
    if (!me) return;
    await this.asking.ask(
      (code) => tapsAgain(me.id, this.#state.by, code),
      (told) => told && this.#state.setStroke({ player: me.id, taps: told.taps }),
    );
  }
}
