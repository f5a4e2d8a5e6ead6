// Elements made by name, and numbers as the pages write them.
"use strict";
const DRAWN = new Set(["svg", "path", "text", "rect", "circle", "g", "defs", "linearGradient", "stop", "line", "title", "image"]);

// An element with its attributes (a function listens to what its name says after "on") and children, texts among them.
function make(name, attributes = {}, ...children) {
  const made = DRAWN.has(name) ? document.createElementNS("http://www.w3.org/2000/svg", name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (typeof value === "function") made.addEventListener(key.slice(2), value);
    else if (value !== null && value !== undefined && value !== false) made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.flat(9).filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

// A number with a fixed count of decimals, a true minus and no minus before nothing.
function fixed(value, decimals) {
  return value.toFixed(decimals).replace(/^-(?=[0.]*$)/, "").replace("-", "\u2212");
}
