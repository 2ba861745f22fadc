// "The reference": the vertical axis with all that asks for a pitch, and below it, near
// the thumb, what can be done: hear an instrument, hear the tone, propose, undo.

import { undoReference } from "./api.js";
import { sideOf } from "./axis.js";
import { CompromiseSheet } from "./compromise_sheet.js";
import { el, say } from "./dom.js";
import { HearSheet } from "./hear_sheet.js";
import { HistorySheet } from "./history_sheet.js";
import { InstrumentSheet } from "./instrument_sheet.js";
import { MeasuringPanel } from "./measuring_panel.js";
import { PitchAxis } from "./pitch_axis.js";
import { ReferenceForm } from "./reference_form.js";
import { withCode } from "./room_code.js";
import { faultLine } from "./sheet.js";
import { ToneSheet } from "./tone_sheet.js";
import { hertz, uncertainty } from "./words.js";

const button = (words, onclick, className = "") => el("button", { type: "button", className, onclick }, words);

export class ReferenceView {
  #state;

  constructor(root, state) {
    this.#state = state;
    this.axis = new PitchAxis();
    this.form = new ReferenceForm(state);
    this.panel = new MeasuringPanel(state);
    this.hear = new HearSheet(state);
    this.tone = new ToneSheet(state);
    this.instrument = new InstrumentSheet(state);
    this.compromise = new CompromiseSheet(state);
    this.history = new HistorySheet(state);
    this.undo = button("", () => this.#undo());
    this.fault = faultLine();
    this.doing = el("div", { className: "doing" },
      this.fault,
      button("hear an instrument", () => this.hear.open()),
      button("hear the tone", () => this.tone.open()),
      this.undo,
      button("earlier ones", () => this.history.open()));
    this.below = el("div", { className: "controls" }, this.panel.node, this.form.node, this.doing);
    root.append(this.axis.node, this.below);
    this.axis.onResize = () => this.#draw();
    this.form.onConsider = () => this.#draw();
    this.panel.onFinished = (id) => this.#openSoon(id);
    state.onChange((what) => this.#update(what));
  }

  #update(what) {
    const { room } = this.#state;
    if (!room) return;
    this.#draw();
    if (what === "reading") return;
    this.panel.update();
    this.form.node.hidden = room.measuring !== null;
    this.doing.hidden = room.measuring !== null;
    this.instrument.update();
    this.compromise.update();
    const { undo_hz: undoHz } = room.reference;
    this.undo.hidden = undoHz === null;
    if (undoHz !== null) say(this.undo, `undo (back to ${hertz(undoHz)})`);
  }

  #draw() {
    const { room } = this.#state;
    if (!room) return;
    this.form.update();
    const proposed = room.agreement.proposals.map((each) => ({
      id: each.id, hz: each.a4_hz, name: `${hertz(each.a4_hz)} ${each.by_name}`, side: each.cents < 0 ? "below" : "above",
    }));
    const stands = [...this.#measured(room), ...this.#heardNow(room), ...this.#between(room)];
    this.axis.draw(this.form.agreed, room.measuring ? null : this.form.wanted, stands, proposed);
  }

  #measured({ measured, measuring, station }) {
    const done = measured.filter((each) => each.id !== measuring?.id);
    const under = measuring?.instrument ? [{ ...measuring.instrument, id: measuring.id, name: measuring.name }] : [];
    return [...done, ...under].map((each) => ({
      id: each.id,
      hz: each.a4_hz,
      uncertainty_cents: each.uncertainty_cents,
      name: each.name,
      small: `${hertz(each.a4_hz)} ${uncertainty(each.uncertainty_cents)} cents`,
      side: sideOf(each.cents, station.in_cents),
      kind: each.id === measuring?.id ? "measuring" : "measured",
      open: () => (each.id === measuring?.id ? null : this.instrument.open(each.id)),
    }));
  }

  // Where nothing was measured a single note of an instrument of fixed pitch tells something, too.
  #heardNow({ measured, measuring, reference, station }) {
    const known = new Set([...measured.map((each) => each.id), measuring?.id]);
    return [...this.#state.settled].filter(([id]) => !known.has(id)).map(([id, reading]) => {
      const hz = reference.a4_hz * 2 ** (reading.cents / 1200);
      const side = sideOf(reading.cents, station.in_cents);
      return {
        id,
        hz,
        uncertainty_cents: null,
        name: `${this.#state.player(id)?.name ?? id} ${hz.toFixed(1)}`,
        small: `${side === "in" ? "in, " : ""}${uncertainty(reading.uncertainty_cents)} cents`,
        side,
        kind: "heard",
        open: () => this.form.consider(Math.round(hz * 10) / 10),
      };
    });
  }

  #between({ compromise }) {
    if (!compromise) return [];
    const { a4_hz: hz, worst_cents: worst } = compromise.worst;
    return [{
      id: "compromise", hz, uncertainty_cents: null, name: "compromise", small: `${hertz(hz)}, ${worst.toFixed(1)} at worst`,
      side: "between", kind: "compromise", open: () => this.compromise.open(),
    }];
  }

  // The room that has the measured instrument may come after the station's answer.
  #openSoon(id) {
    const isThere = () => this.#state.room.measured.some((each) => each.id === id);
    if (isThere() && !this.#state.room.measuring) this.instrument.open(id);
    else setTimeout(() => isThere() && this.instrument.open(id), 400);
  }

  async #undo() {
    say(this.fault, "");
    try {
      await withCode((code) => undoReference(this.#state.by, code));
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
