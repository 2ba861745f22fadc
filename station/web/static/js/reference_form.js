// The way to propose a reference by its hertz. What was typed stays in its field until
// it is proposed or its owner changes it; a wrong entry is refused before anything is sent.

import { el, say } from "./dom.js";
import { STANDARD_HZ } from "./pitch_axis.js";
import { listed, proposeIt } from "./proposing.js";
import { faultLine } from "./sheet.js";
import { hertz, hertzFrom, origin } from "./words.js";

const LOWEST_HZ = 390;
const HIGHEST_HZ = 470;
const STEP_HZ = 0.1;

export class ReferenceForm {
  /** What is considered has changed. */
  onConsider = () => {};
  /** Hertz being considered, or null for "as it is". */
  wanted = null;
  #state;
  #typed = false; // the field holds its owner's text, not the reference
  #saidOf = null; // the proposal, or the hertz, that the words below the form speak of

  constructor(state) {
    this.#state = state;
    this.hz = el("input", { id: "a4", inputMode: "decimal", autocomplete: "off", maxLength: 12, oninput: () => this.#take() });
    this.hzLabel = el("span");
    this.fault = faultLine();
    this.told = el("p", { className: "told", role: "status" });
    this.past = el("p", { className: "past-words" });
    this.before = el("p", { className: "soft" });
    this.send = el("button", { className: "main" }, "propose it");
    const standard = el("button", { type: "button", onclick: () => this.consider(STANDARD_HZ) }, `${STANDARD_HZ} · ISO 16`);
    this.node = el(
      "form",
      { onsubmit: (event) => this.#submit(event), noValidate: true },
      el("div", { className: "stepper" },
        this.#stepper("lower", -STEP_HZ), el("label", {}, this.hzLabel, this.hz), this.#stepper("higher", STEP_HZ)),
      el("div", { className: "sending" }, standard, this.send),
      el("div", { className: "outcome" }, this.fault, this.told, this.before, this.past),
    );
  }

  get agreed() {
    return this.#state.room?.reference.a4_hz ?? STANDARD_HZ;
  }

  /** Fill in a frequency, in hertz, as one to be considered. */
  consider(hz) {
    this.hz.value = hertz(hz);
    this.#take();
  }

  /** Follow the room: its reference stands in the field unless someone is at it. */
  update() {
    if (!this.#typed && document.activeElement !== this.hz) this.hz.value = hertz(this.agreed);
    if (this.#saidOf !== null && !this.#isStillTrue(this.#saidOf)) this.#tell(null, "");
    const hz = hertzFrom(this.hz.value);
    this.wanted = this.#faultOf(hz) || this.#isAgreed(hz) ? null : hz;
    say(this.hzLabel, `${this.#a4} in hertz`);
    say(this.past, this.#pastWords());
    say(this.before, this.wanted === null ? "" : "Once agreed, the roll call starts again.");
  }

  // Who agreed to what is in force, and what it was taken from.
  #pastWords() {
    const reference = this.#state.room?.reference;
    if (!reference) return "";
    const agreed = reference.agreed.length ? `agreed by ${listed(reference.agreed)}: ` : "";
    return `${hertz(reference.a4_hz)} Hz, ${agreed}${origin(agreed ? { ...reference, by: "" } : reference)}`;
  }

  get #a4() {
    return this.#state.noteName("A4");
  }

  // The station's answer may be here before the room that shows the proposal.
  #isStillTrue(of) {
    if (of.hz !== undefined) return this.#isAgreed(of.hz);
    const isOpen = this.#state.room.agreement.proposals.some((each) => each.id === of.id);
    of.wasOpen ||= isOpen;
    return isOpen || !of.wasOpen;
  }

  #stepper(word, hz) {
    const step = () => this.consider(Math.round(((this.wanted ?? this.agreed) + hz) * 10) / 10);
    return el("button", { type: "button", onclick: step }, word);
  }

  #take() {
    this.#typed = !this.#isAgreed(hertzFrom(this.hz.value));
    this.#refuse("");
    this.hz.removeAttribute("aria-invalid");
    this.#tell(null, "");
    this.onConsider();
  }

  // To the hundredth that is shown.
  #isAgreed(hz) {
    return hertz(hz) === hertz(this.agreed);
  }

  #faultOf(hz) {
    const reach = `${LOWEST_HZ} to ${HIGHEST_HZ}`;
    const text = this.hz.value.trim();
    if (text === "") return `type ${this.#a4} in hertz, ${reach}`;
    if (Number.isNaN(hz)) return `"${text}" is no frequency: type ${this.#a4} in hertz, ${reach}`;
    if (hz < LOWEST_HZ || hz > HIGHEST_HZ) return `${hertz(hz).replace(/\.0$/, "")} Hz is out of reach: ${this.#a4} can be ${reach} Hz`;
    return "";
  }

  #refuse(words) {
    say(this.fault, words);
  }

  #tell(of, words) {
    this.#saidOf = of;
    say(this.told, words);
  }

  async #submit(event) {
    event.preventDefault();
    const hz = hertzFrom(this.hz.value);
    const fault = this.#faultOf(hz);
    this.#refuse(fault);
    this.hz.setAttribute("aria-invalid", String(fault !== ""));
    this.#tell(null, "");
    if (fault) return;
    if (this.#isAgreed(hz)) {
      this.#tell({ hz }, `${this.#a4} already is ${hertz(hz)} Hz`);
      return;
    }
    await this.#propose(hz);
    this.onConsider();
  }

  async #propose(hz) {
    this.send.disabled = true;
    try {
      const what = hz === STANDARD_HZ ? { kind: "standard" } : { kind: "typed", a4_hz: hz };
      const told = await proposeIt(this.#state, what, hz);
      if (told === null) return;
      this.#typed = false; // from now on its line on the axis is the proposal's
      this.hz.blur();
      this.#tell(told.id === null ? null : { id: told.id }, told.words);
    } catch (error) {
      this.#refuse(error.message);
    } finally {
      this.send.disabled = false;
    }
  }
}
