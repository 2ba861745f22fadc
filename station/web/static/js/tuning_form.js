// Choosing instrument, tuning and capo of a player; the station is told with the room code.
// Above stands what concerns this phone alone, and needs no code.

import { changePlayer, instruments, setups } from "./api.js";
import { el, say } from "./dom.js";
import { memory } from "./memory.js";
import { OffsetsFields } from "./offsets_fields.js";
import { PegFields } from "./peg_fields.js";

const HIGHEST_CAPO = 12;
const SETUPS_SHOWN = 4;

export class TuningForm {
  onAnother = () => {};
  #known = {};
  #player = null;
  #had = []; // what this player played last, the present setup first

  constructor(namesChoice, state) {
    this.name = el("input", { name: "name", maxLength: 40, autocomplete: "off" });
    this.instrument = el("select", { name: "instrument", onchange: () => this.#offerTunings() });
    this.tuning = el("select", { name: "tuning", onchange: () => this.#offerOffsets() });
    this.capo = el("select", { name: "capo" });
    for (let fret = 0; fret <= HIGHEST_CAPO; fret += 1) {
      this.capo.append(el("option", { value: String(fret) }, fret ? `fret ${fret}` : "none"));
    }
    this.offsets = new OffsetsFields(state);
    this.pegs = new PegFields(state);
    this.setups = el("div", { className: "setups", role: "group", "aria-label": "played last" });
    this.code = el("input", { name: "code", autocomplete: "off", autocapitalize: "off" });
    this.fault = el("p", { className: "fault", role: "alert" });
    const close = el("button", { type: "button", onclick: () => this.node.close() }, "back");
    const other = el("button", { type: "button", onclick: () => this.#another() }, "I am someone else");
    const form = el(
      "form",
      { onsubmit: (event) => this.#submit(event), noValidate: true },
      el("div", { className: "fields" },
        this.#row("name", this.name),
        this.#row("instrument", this.instrument),
        this.#row("tuning", this.tuning),
        this.#row("capo", this.capo),
        this.#row("room code", this.code)),
      this.offsets.node,
      this.setups,
      this.pegs.node,
      el("div", { className: "ending" },
        this.fault,
        el("div", { className: "buttons" }, close, el("button", { className: "main" }, "change it"))),
    );
    // It takes the focus, so that no keyboard covers the sheet before it is asked for.
    this.title = el("h2", { tabIndex: -1 });
    this.node = el(
      "dialog",
      { "aria-label": "your instrument" },
      el("div", { className: "this-phone" }, this.title, other, namesChoice.node),
      form,
    );
  }

  async open(player) {
    this.#player = player;
    this.name.value = player.name;
    this.capo.value = String(player.capo);
    this.code.value = memory.code;
    this.offsets.open(player);
    this.offsets.isForOtherStrings = false;
    say(this.fault, "");
    say(this.title, player.name);
    this.#had = [];
    this.setups.replaceChildren();
    this.node.showModal();
    this.title.focus();
    try {
      this.#known = await instruments();
      this.#had = (await setups(player.id)).setups;
    } catch (error) {
      say(this.fault, error.message);
      return;
    }
    this.#fill(this.instrument, this.#known, player.instrument, (told) => told.label);
    this.#offerTunings();
    this.setups.replaceChildren(...this.#had.slice(1, SETUPS_SHOWN + 1).map((had) => this.#setupButton(had)));
    await this.pegs.open(player).catch((error) => say(this.fault, error.message));
  }

  /** Back to what was played before, with one tap. */
  #setupButton(had) {
    const { instrument, tuning, capo, offsets_cents } = had;
    const words = [had.instrument_label, had.tuning_label, capo ? `capo ${capo}` : "", Object.keys(offsets_cents).length ? "own offsets" : ""];
    const wanted = { instrument, capo, offsets_cents, ...(tuning ? { tuning } : {}) };
    return el("button", { type: "button", onclick: () => this.#put(() => wanted) }, words.filter(Boolean).join(" \u00b7 "));
  }

  /** How this player left the instrument that is chosen, if it is not the one they hold. */
  get #left() {
    const { value } = this.instrument;
    return value === this.#player.instrument ? undefined : this.#had.find((had) => had.instrument === value);
  }

  #offerTunings() {
    const tunings = this.#known[this.instrument.value]?.tunings ?? {};
    this.#fill(this.tuning, tunings, this.#left?.tuning ?? this.#player.tuning, (label) => label.label ?? label);
    if (this.#left) this.capo.value = String(this.#left.capo);
    this.tuning.disabled = Object.keys(tunings).length === 0;
    this.#offerOffsets();
  }

  #offerOffsets() {
    const { instrument, tuning } = this.#player;
    this.offsets.isForOtherStrings =
      this.instrument.value !== instrument || (!this.tuning.disabled && this.tuning.value !== tuning);
  }

  #fill(select, choices, chosen, label) {
    select.replaceChildren(
      ...Object.entries(choices).map(([key, told]) => el("option", { value: key }, label(told))),
    );
    if (chosen in choices) select.value = chosen;
  }

  #changes() {
    const changes = {};
    const wanted = { name: this.name.value, capo: Number(this.capo.value) };
    // Until the station has said which there are, nothing is chosen of them.
    if (this.instrument.value) wanted.instrument = this.instrument.value;
    if (!this.tuning.disabled && this.tuning.value) wanted.tuning = this.tuning.value;
    for (const [key, value] of Object.entries(wanted)) {
      if (value !== this.#player[key]) changes[key] = value;
    }
    // A new instrument brings its tuning along, even one of the same name.
    if ("instrument" in changes && "tuning" in wanted) changes.tuning = wanted.tuning;
    const left = this.#left;
    const asLeft = left && left.tuning === (wanted.tuning ?? "") ? left.offsets_cents : undefined;
    const offsets = this.offsets.change ?? asLeft;
    return offsets === undefined ? changes : { ...changes, offsets_cents: offsets };
  }

  async #submit(event) {
    event.preventDefault();
    await this.#put(() => this.#changes());
  }

  async #put(wanted) {
    try {
      const changes = wanted();
      if (Object.keys(changes).length) {
        await changePlayer(this.#player.id, changes, this.code.value);
        memory.code = this.code.value;
      }
      this.node.close();
    } catch (error) {
      say(this.fault, error.message);
    }
  }

  #another() {
    this.node.close();
    this.onAnother();
  }

  #row(label, control) {
    return el("label", {}, el("span", {}, label), control);
  }
}
