// A sheet that comes up from the screen's lower edge and is put away by "back", by
// the phone's own back key, or by a tap beside it.

import { el, say } from "./dom.js";

export class Sheet {
  /** The sheet is gone from the screen. */
  onClose = () => {};

  /** `label` is its title until `setTitle`; `ending` stands below at all times, with "back" in its row of buttons or below. */
  constructor(label, body, ending = []) {
    // The title takes the focus, so that no keyboard covers the sheet before it is asked for.
    this.title = el("h2", { tabIndex: -1 }, label);
    this.back = el("button", { type: "button", className: "back", onclick: () => this.close() }, "back");
    this.body = el("div", { className: "sheet-body" }, ...body);
    const row = ending.at(-1);
    if (row?.classList.contains("buttons")) row.prepend(this.back);
    else ending.push(this.back);
    this.ending = el("div", { className: "sheet-ending" }, ...ending);
    this.node = el("dialog", { className: "sheet", "aria-label": label }, this.title, this.body, this.ending);
    this.node.addEventListener("click", (event) => {
      if (event.target === this.node) this.close();
    });
    this.node.addEventListener("close", () => this.onClose());
  }

  get isOpen() {
    return this.node.open;
  }

  setTitle(text) {
    say(this.title, text);
    this.node.setAttribute("aria-label", text);
  }

  open() {
    if (!this.node.isConnected) document.body.append(this.node);
    if (!this.node.open) this.node.showModal();
    this.body.scrollTop = 0;
    this.title.focus();
  }

  close() {
    this.node.close();
  }
}

/** A line that says in words why something did not happen. */
export function faultLine() {
  return el("p", { className: "fault", role: "alert" });
}
