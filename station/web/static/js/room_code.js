// The room code, asked for once: a change that needs it waits for the sheet, and a
// code that the station refuses brings the sheet back with its words.

import { el, say } from "./dom.js";
import { memory } from "./memory.js";
import { faultLine, Sheet } from "./sheet.js";

const HOW = "type the room code (printed when the station starts)";
const REFUSALS = [403, 429]; // wrong, or guessed too often
const WRONG_CODE = /room code/;

class CodeSheet {
  #answer = () => {};

  constructor() {
    this.code = el("input", { name: "code", autocomplete: "off", autocapitalize: "off", maxLength: 60 });
    this.fault = faultLine();
    const form = el(
      "form",
      { onsubmit: (event) => this.#submit(event), noValidate: true },
      el("p", { className: "soft" }, "Everyone in the room may have it. It is asked for once on this phone."),
      el("label", {}, el("span", {}, "room code"), this.code),
      this.fault,
      el("button", { className: "main" }, "go on"),
    );
    this.sheet = new Sheet("Room code", [form]);
    this.sheet.onClose = () => this.#answer(null);
  }

  /** The code as typed, or null when the sheet was put away. */
  ask(why) {
    this.code.value = memory.code;
    say(this.fault, why);
    this.sheet.open();
    this.code.focus();
    return new Promise((done) => {
      this.#answer = done;
    });
  }

  #submit(event) {
    event.preventDefault();
    const typed = this.code.value.trim();
    if (!typed) {
      say(this.fault, HOW);
      return;
    }
    this.#answer(typed);
    this.sheet.close();
  }
}

let sheet = null;

function askForCode(why) {
  sheet ??= new CodeSheet();
  return sheet.ask(why);
}

/**
 * `act(code)` with a code the station takes; its outcome, or null when the owner
 * would not give one. Whatever else goes wrong is thrown.
 */
export async function withCode(act) {
  let code = memory.code || (await askForCode(""));
  while (code !== null) {
    try {
      const told = await act(code);
      memory.code = code;
      return told ?? true;
    } catch (error) {
      if (!REFUSALS.includes(error.status) || !WRONG_CODE.test(error.message)) throw error;
      code = await askForCode(error.message);
    }
  }
  return null;
}
