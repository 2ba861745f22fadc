// The way to change the reference. What was typed stays in its field until it is
// set or its owner changes it; a wrong entry is refused before anything is sent.

import { setReference } from "./api.js";
import { el, say } from "./dom.js";
import { memory } from "./memory.js";
import { hertz, hertzFrom } from "./words.js";

const LOWEST_HZ = 390;
const HIGHEST_HZ = 470;
const STEP_HZ = 0.1;
export const STANDARD_HZ = 440; // ISO 16:1975

export class ReferenceForm {
  /** What is considered has changed. */
  onConsider = () => {};
  /** Hertz being considered, or null for "as it is". */
  wanted = null;
  #state;
  #typed = false; // the field holds its owner's text, not the reference
  #sentFrom = null; // the reference a change was sent from, until the room shows the change
  #said = null; // hertz that the words below the form speak of

  constructor(state) {
    this.#state = state;
    this.hz = el("input", { id: "a4", inputMode: "decimal", autocomplete: "off", maxLength: 12, oninput: () => this.#take() });
    this.hzLabel = el("span");
    this.code = el("input", { id: "code", autocomplete: "off", autocapitalize: "off", value: memory.code });
    this.fault = el("p", { className: "fault", role: "alert" });
    this.told = el("p", { className: "told", role: "status" });
    this.before = el("p", { className: "soft" });
    this.send = el("button", { className: "main" }, "set it for everyone");
    this.node = el(
      "form",
      { onsubmit: (event) => this.#submit(event), noValidate: true },
      el("div", { className: "stepper" },
        this.#stepper("lower", -STEP_HZ), el("label", {}, this.hzLabel, this.hz), this.#stepper("higher", STEP_HZ)),
      el("div", { className: "with-code" }, el("label", {}, el("span", {}, "room code"), this.code), this.send),
      el("div", { className: "outcome" }, this.fault, this.told, this.before),
    );
    window.addEventListener("hashchange", () => {
      this.code.value ||= memory.code; // it may have been typed in the other form
    });
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
    if (this.#sentFrom !== null && this.agreed !== this.#sentFrom) {
      this.#sentFrom = null;
      this.#typed = false;
    }
    if (!this.#typed && document.activeElement !== this.hz) this.hz.value = hertz(this.agreed);
    if (this.#said !== null && this.#sentFrom === null && !this.#isAgreed(this.#said)) this.#tell(null, "");
    const hz = hertzFrom(this.hz.value);
    this.wanted = this.#faultOf(hz) || this.#isAgreed(hz) ? null : hz;
    say(this.hzLabel, `${this.#a4} in hertz`);
    say(this.before, this.wanted === null || this.#sentFrom !== null ? "" : "The roll call starts again for everyone.");
  }

  get #a4() {
    return this.#state.noteName("A4");
  }

  #stepper(word, hz) {
    const step = () => this.consider(Math.round(((this.wanted ?? this.agreed) + hz) * 10) / 10);
    return el("button", { type: "button", onclick: step }, word);
  }

  #take() {
    this.#typed = !this.#isAgreed(hertzFrom(this.hz.value));
    this.#sentFrom = null;
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

  #tell(hz, words) {
    this.#said = hz;
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
      this.#tell(hz, `${this.#a4} already is ${hertz(hz)} Hz`);
      return;
    }
    await this.#set(hz);
    this.onConsider();
  }

  async #set(hz) {
    this.send.disabled = true;
    this.#sentFrom = this.agreed;
    try {
      await setReference(hz, this.#state.player(memory.me)?.name, this.code.value);
      memory.code = this.code.value;
      this.hz.blur();
      this.#tell(hz, `set to ${hertz(hz)} Hz: the roll call starts again`);
    } catch (error) {
      this.#sentFrom = null;
      this.#refuse(error.message);
    } finally {
      this.send.disabled = false;
    }
  }
}
