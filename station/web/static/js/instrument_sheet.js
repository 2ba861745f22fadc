// What was measured of one instrument: its A4, its notes, its temperament, in a sheet.

import { forgetMeasured } from "./api.js";
import { el, say } from "./dom.js";
import { evidenceWords, reedWords, temperamentWords } from "./instrument_words.js";
import { NoteMarks } from "./note_marks.js";
import { proposeIt } from "./proposing.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { beats, clock, count, hertz, signed, uncertainty } from "./words.js";

export class InstrumentSheet {
  #state;
  #id = null;

  constructor(state) {
    this.#state = state;
    this.hz = el("strong", { className: "measured-hz" });
    this.error = el("span", { className: "measured-error" });
    this.off = el("p", { className: "soft" });
    this.marks = new NoteMarks();
    this.key = el("p", { className: "marks-key soft" });
    this.reeds = el("ul", { className: "reed-words" });
    this.facts = el("dl", { className: "found" });
    this.fault = faultLine();
    this.propose = el("button", { type: "button", className: "main", onclick: () => this.#propose() }, "propose this pitch");
    this.forget = el("button", { type: "button", onclick: () => this.#forget() }, "forget");
    this.sheet = new Sheet(
      "instrument",
      [el("p", { className: "measured-pitch" }, this.hz, this.error), this.off, this.marks.node, this.key, this.reeds, this.facts],
      [this.fault, el("div", { className: "buttons" }, this.forget, this.propose)],
    );
    new ResizeObserver(() => this.update()).observe(this.marks.strip);
  }

  open(id) {
    this.#id = id;
    say(this.fault, "");
    this.update();
    this.sheet.open();
    this.update();
  }

  get #instrument() {
    return this.#state.room?.measured.find((each) => each.id === this.#id) ?? null;
  }

  update() {
    if (this.#id === null) return;
    const found = this.#instrument;
    if (!found) {
      if (this.sheet.isOpen) this.sheet.close(); // somebody made the station forget it
      return;
    }
    const noteName = (note) => this.#state.noteName(note);
    const a4 = noteName("A4");
    this.sheet.setTitle(found.name);
    say(this.hz, hertz(found.a4_hz));
    say(this.error, `Hz\n${uncertainty(found.uncertainty_cents)} cents`);
    const beat = Math.abs(found.beats_hz);
    say(this.off, `${a4} is ${signed(found.cents)} cents from the reference: held together they beat ${beats(beat)} times a second`);
    this.marks.update(found, this.#state.room.station.in_cents, noteName);
    this.#sayKey(found);
    this.reeds.replaceChildren(...reedWords(found, noteName).map((words) => el("li", {}, words)));
    this.#sayFacts(found, noteName);
  }

  #sayKey(found) {
    const words = ["cents from equal temperament"];
    if (found.notes.some((note) => note.temperament_cents)) words.push("short line: what the temperament asks");
    if (found.notes.some((note) => note.beat_hz !== null)) words.push("number: beats a second of its two reeds");
    say(this.key, words.join(" · "));
  }

  #sayFacts(found, noteName) {
    const rows = [["temperament", temperamentWords(found, noteName), evidenceWords(found, noteName)]];
    if (found.stretch_cents_per_octave !== null) rows.push(["octaves", `stretched by ${signed(found.stretch_cents_per_octave)} cents each`]);
    const scatter = found.spread_cents === null ? "" : `, scattered by ${found.spread_cents.toFixed(1)} cents`;
    rows.push(["heard", `${count(found.distinct, "different note")}${scatter}`, `on line ${found.line}, ${clock(found.measured_at)}`]);
    if (!found.enough) rows.push(["so far", found.says]);
    this.facts.replaceChildren(
      ...rows.flatMap(([name, words, more]) => [
        el("dt", {}, name),
        el("dd", {}, words, ...(more ? [el("span", { className: "soft" }, more)] : [])),
      ]),
    );
  }

  async #propose() {
    const found = this.#instrument;
    if (!found) return;
    await this.#ask(() => proposeIt(this.#state, { kind: "measured", instrument: found.id }, found.a4_hz));
  }

  async #forget() {
    await this.#ask(() => withCode((code) => forgetMeasured(this.#id, this.#state.by, code)));
  }

  async #ask(act) {
    say(this.fault, "");
    try {
      if ((await act()) !== null) this.sheet.close();
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
