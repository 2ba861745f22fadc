// A change asked for from one place of the page: one at a time, and refused in one line there.

import { say } from "./dom.js";
import { withCode } from "./room_code.js";

export class Asking {
  #fault;
  #after;

  /** `fault` is the line that says why it was refused; `after` comes once it is over, either way. */
  constructor(fault, after = () => {}) {
    this.#fault = fault;
    this.#after = after;
    this.busy = false;
  }

  /**
   * Ask `act(code)`, and give `take` what was told: null when the owner would not give a code.
   * A second tap while the first is under way asks nothing.
   */
  async ask(act, take = () => {}) {
    if (this.busy) return;
    this.busy = true;
    say(this.#fault, "");
    try {
      take(await withCode(act));
    } catch (error) {
      say(this.#fault, error.message);
    } finally {
      this.busy = false;
      this.#after();
    }
  }
}
