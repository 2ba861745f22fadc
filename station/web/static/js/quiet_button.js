// "Quiet": lamps and phones only, dimmed, and no tone, for everyone in the room.

import { setQuiet } from "./api.js";
import { el, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine } from "./sheet.js";

export class QuietButton {
  #state;

  constructor(state) {
    this.#state = state;
    this.button = el("button", { type: "button", "aria-pressed": "false", onclick: () => this.#turn() });
    this.fault = faultLine();
    this.node = el(
      "section",
      { className: "quiet" },
      this.button,
      el("p", { className: "soft" }, "Quiet: lamps and pages dimmed, and no tone."),
      this.fault,
    );
    state.onChange((what) => {
      if (what === "room") this.#update();
    });
  }

  #update() {
    const { quiet } = this.#state.room.station;
    say(this.button, quiet ? "end quiet" : "quiet");
    this.button.setAttribute("aria-pressed", String(quiet));
  }

  async #turn() {
    const wanted = !this.#state.room.station.quiet;
    say(this.fault, "");
    try {
      await withCode((code) => setQuiet(wanted, code));
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
