// While an instrument is being measured: its A4 in large figures, how sure it is, what
// to play next, and the two ways to end it.

import { cancelMeasuring, finishMeasuring } from "./api.js";
import { el, mark, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { shape } from "./shapes.js";
import { faultLine } from "./sheet.js";
import { count, hertz, uncertainty } from "./words.js";

const HOLD = "hold each for two seconds";

/** "play next: F♯4, C5: hold each for two seconds". */
function nextWords(instrument, noteName) {
  if (!instrument) return "play a note and hold it for two seconds";
  if (instrument.enough) return "enough: finish, or play on to be surer";
  const next = instrument.play_next.map(noteName);
  if (next.length) return `play next: ${next.join(", ")}: ${next.length > 1 ? HOLD : "hold it for two seconds"}`;
  return `play other notes: ${HOLD}`;
}

function heardWords(instrument) {
  if (!instrument) return "no note yet";
  const heard = instrument.notes.reduce((sum, note) => sum + note.times, 0);
  const words = [`${count(heard, "note")}, ${instrument.distinct} different`];
  const bad = instrument.notes.filter((note) => note.bad).length;
  if (bad) words.push(`${bad} out of line`);
  return words.join(", ");
}

export class MeasuringPanel {
  /** The measurement has been finished here: gets the instrument's id. */
  onFinished = () => {};
  #state;

  constructor(state) {
    this.#state = state;
    this.name = el("span");
    this.lens = shape("hearing");
    this.sounding = el("span", { className: "hearing-word" });
    this.hz = el("strong", { className: "measured-hz" });
    this.error = el("span", { className: "measured-error" });
    this.heard = el("p", { className: "soft" });
    this.next = el("p", { className: "next", role: "status" });
    this.fault = faultLine();
    this.cancel = el("button", { type: "button", onclick: () => this.#end(cancelMeasuring) }, "cancel");
    this.finish = el("button", { type: "button", className: "main", onclick: () => this.#finish() }, "finish");
    this.node = el(
      "section",
      { className: "measuring", hidden: true, "aria-label": "measuring" },
      el("header", {}, el("h2", {}, el("span", {}, "listening to "), this.name), el("p", { className: "hearing-state" }, this.lens.node, this.sounding)),
      el("p", { className: "measured-pitch" }, this.hz, this.error),
      this.heard,
      this.next,
      this.fault,
      el("div", { className: "buttons" }, this.cancel, this.finish),
    );
  }

  update() {
    const { measuring } = this.#state.room;
    this.node.hidden = measuring === null;
    if (measuring === null) return;
    const { instrument, sounding } = measuring;
    say(this.name, measuring.name);
    say(this.sounding, sounding ? "sounding" : "silent");
    mark(this.node, "sounding", sounding ? "yes" : null);
    mark(this.node, "enough", instrument?.enough ? "yes" : null);
    say(this.hz, instrument ? hertz(instrument.a4_hz) : "–");
    say(this.error, instrument ? `Hz\n${uncertainty(instrument.uncertainty_cents)} cents` : "Hz");
    say(this.heard, heardWords(instrument));
    say(this.next, nextWords(instrument, (note) => this.#state.noteName(note)));
    this.finish.disabled = instrument === null;
  }

  async #finish() {
    const { id } = this.#state.room.measuring;
    if (await this.#end(finishMeasuring)) this.onFinished(id);
  }

  async #end(ask) {
    say(this.fault, "");
    try {
      return await withCode((code) => ask(this.#state.by, code));
    } catch (error) {
      say(this.fault, error.message);
      return null;
    }
  }
}
