// The three shapes, told apart without colour: a cup hangs below its edge
// (tighten), a cap stands above it (slacken), both together are the whole lens (in).
// A string not heard yet is the lens's thin outline.

import { svg } from "./dom.js";

const PATHS = {
  tighten: "M-100 0Q0 100 100 0Z",
  slacken: "M-100 0Q0 -100 100 0Z",
  in: "M-100 0Q0 -100 100 0Q0 100 -100 0Z",
};

/** The path of a verdict's shape in a box from -100,-50 to 100,50. */
export function shapePath(verdict) {
  return PATHS[verdict] ?? PATHS.in;
}

/** A shape that is stretched to its element; `set(verdict)` changes it. */
export function shape(className) {
  const path = svg("path", { d: PATHS.in, "vector-effect": "non-scaling-stroke" });
  const node = svg(
    "svg",
    { viewBox: "-100 -50 200 100", preserveAspectRatio: "none", class: className, "aria-hidden": "true" },
    path,
  );
  return {
    node,
    path,
    set(verdict) {
      const d = shapePath(verdict);
      if (path.getAttribute("d") !== d) path.setAttribute("d", d);
    },
  };
}
