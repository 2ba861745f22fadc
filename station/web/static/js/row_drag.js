// Rows of a list moved by a handle with one finger, mouse or pen; the list scrolls along.

const EDGE_PX = 90;
const STEP_PX = 10;

export class RowDrag {
  active = false;
  #list;
  #onDrop;
  #row = null;
  #pointer = 0;
  #from = 0;
  #grabbedAt = 0;
  #y = 0;
  #frame = 0;

  /** `onDrop(row, place)` once a row was let go at another place, counted from 1. */
  constructor(list, handle, onDrop) {
    this.#list = list;
    this.#onDrop = onDrop;
    list.addEventListener("pointerdown", (event) => {
      const grip = event.target.closest(handle);
      if (grip && !this.active && event.button === 0) this.#begin(grip, event);
    });
    list.addEventListener("pointermove", (event) => {
      if (this.active && event.pointerId === this.#pointer) this.#y = event.clientY;
    });
    for (const kind of ["pointerup", "pointercancel"]) {
      list.addEventListener(kind, (event) => {
        if (this.active && event.pointerId === this.#pointer) this.#end(kind === "pointerup");
      });
    }
  }

  get #rows() {
    return [...this.#list.children];
  }

  #begin(grip, event) {
    event.preventDefault();
    grip.setPointerCapture(event.pointerId);
    this.active = true;
    this.#row = grip.closest("li");
    this.#pointer = event.pointerId;
    this.#from = this.#rows.indexOf(this.#row);
    this.#y = event.clientY;
    this.#grabbedAt = event.clientY - this.#row.getBoundingClientRect().top;
    this.#row.dataset.held = "yes";
    this.#frame = requestAnimationFrame(() => this.#step());
  }

  #step() {
    if (!this.active) return;
    if (this.#y < EDGE_PX) window.scrollBy(0, -STEP_PX);
    else if (this.#y > window.innerHeight - EDGE_PX) window.scrollBy(0, STEP_PX);
    this.#follow();
    this.#frame = requestAnimationFrame(() => this.#step());
  }

  // The row stays at its own place in the list and is only drawn elsewhere, or the
  // pointer would lose its handle; the others give way.
  #follow() {
    const rows = this.#rows;
    const place = this.#place(rows);
    const tall = this.#row.offsetHeight;
    rows.forEach((row, index) => {
      if (row === this.#row) return;
      const down = index < this.#from && index >= place;
      const up = index > this.#from && index <= place;
      row.style.setProperty("transform", `translateY(${down ? tall : up ? -tall : 0}px)`);
    });
    const home = this.#list.getBoundingClientRect().top + this.#row.offsetTop - this.#list.offsetTop;
    this.#row.style.setProperty("transform", `translateY(${this.#y - this.#grabbedAt - home}px)`);
  }

  // Where the row would go: past every other whose middle its own middle has passed.
  #place(rows) {
    const top = this.#list.getBoundingClientRect().top - this.#list.offsetTop;
    const middle = this.#y - this.#grabbedAt + this.#row.offsetHeight / 2;
    const passed = rows.filter((row) => row !== this.#row && top + row.offsetTop + row.offsetHeight / 2 < middle);
    return passed.length;
  }

  #end(dropped) {
    cancelAnimationFrame(this.#frame);
    this.#follow();
    const rows = this.#rows;
    const place = this.#place(rows);
    const row = this.#row;
    for (const each of rows) each.style.removeProperty("transform");
    delete row.dataset.held;
    this.active = false;
    if (!dropped || place === this.#from) return;
    const others = rows.filter((each) => each !== row);
    this.#list.insertBefore(row, others[place] ?? null);
    this.#onDrop(row, place + 1);
  }
}
