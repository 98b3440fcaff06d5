// What is drawn over the pictures, and how they are turned, cut by the curtain and brought near.
const given = JSON.parse(document.getElementById("given").textContent);
const frame = document.getElementById("frame");
const over = document.getElementById("over");
const edge = document.getElementById("edge");
const marks = document.getElementById("marks");
const curtain = document.getElementById("curtain");
const veil = document.getElementById("veil");
const view = {x: 0, y: 0, near: 1, mirror: false, upside: false};
const LAYERS = ["spaces", "plumbs", "axes", "is", "should", "arrows"];

function element(name, attributes, parent) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.append(made);
  return made;
}

function path(line, closes) {
  return line.length ? "M" + line.map((place) => place.join(" ")).join("L") + (closes ? "Z" : "") : "M0 0";
}

// A smooth curve through all places (Catmull-Rom as Bezier pieces).
function curve(line, closes) {
  const count = line.length;
  if (count < 3) return path(line, closes);
  const at = (k) => closes ? line[(k + count) % count] : line[Math.max(0, Math.min(count - 1, k))];
  let out = "M" + line[0].join(" ");
  for (let k = 0; k < (closes ? count : count - 1); k++) {
    const [a, b, c, d] = [at(k - 1), at(k), at(k + 1), at(k + 2)];
    out += "C" + [b[0] + (c[0] - a[0]) / 6, b[1] + (c[1] - a[1]) / 6, c[0] - (d[0] - b[0]) / 6, c[1] - (d[1] - b[1]) / 6, c[0], c[1]]
      .map((v) => v.toFixed(1)).join(" ");
  }
  return closes ? out + "Z" : out;
}

function drawMarks() {
  const groups = Object.fromEntries(LAYERS.map((name) => [name, element("g", {"data-of": name}, marks)]));
  const both = (d, kind, group) => {
    element("path", {d, class: "halo"}, group);
    element("path", {d, class: kind}, group);
  };
  for (const line of given.lines.spaces_should) element("path", {d: path(line, true), class: "space"}, groups.spaces);
  for (const line of given.lines.spaces_painted) element("path", {d: path(line, true), class: "space-is"}, groups.spaces);
  for (const line of given.lines.plumbs) both(path(line), "thin", groups.plumbs);
  for (const line of given.lines.axes_painted) both(path(line), "dashed", groups.axes);
  for (const line of given.lines.axes_should) both(path(line), "solid", groups.axes);
  for (const part of given.is) both(curve(part.line, part.closes), "dashed", groups.is);
  for (const part of given.should) both(curve(part.line, part.closes), "solid", groups.should);
  for (const step of given.steps) {
    const group = element("g", {class: "arrow", "data-step": step.number}, groups.arrows);
    for (const place of step.at) drawArrow(step.number, place, group);
  }
}

function drawArrow(number, [start, end, away, led], group) {
  const [x, y] = start;
  const [u, v] = [end[0] - x, end[1] - y];
  const long = Math.hypot(u, v);
  if (long > 3) {
    const [a, b] = [u / long, v / long];
    const tip = Math.min(16, 0.6 * long);
    const d = path([start, end]);
    element("path", {d, class: "halo"}, group);
    element("path", {d, class: "solid"}, group);
    const [p, q] = end;
    const head = [[p, q], [p - tip * a + 0.45 * tip * b, q - tip * b - 0.45 * tip * a], [p - tip * a - 0.45 * tip * b, q - tip * b + 0.45 * tip * a]];
    element("path", {d: path(head, true), class: "head"}, group);
  }
  if (led) {
    const [far, short] = [Math.hypot(away[0] - x, away[1] - y), 0.022 * given.width];
    const d = path([start, [0, 1].map((k) => away[k] - short * (away[k] - start[k]) / far)]);
    element("path", {d, class: "halo led"}, group);
    element("path", {d, class: "leader"}, group);
  }
  const text = element("text", {x: away[0].toFixed(1), y: away[1].toFixed(1)}, group);
  text.textContent = number;
}

// What a step moves, and how near it can be brought: a pair is seen whole.
function nearTo(step) {
  const places = step.at.flatMap((place) => place.slice(0, 3));
  if (!places.length) return {near: 1};
  const [xs, ys] = [places.map((place) => place[0]), places.map((place) => place[1])];
  const [left, right, top, bottom] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const room = Math.min(given.width / (right - left + 0.16 * given.width), given.height / (bottom - top + 0.16 * given.height));
  return {x: (left + right) / 2, y: (top + bottom) / 2, near: Math.max(1.01, Math.min(2.5, room))};
}

function showLayers() {
  for (const box of document.querySelectorAll("[data-layer]"))
    marks.querySelector(`[data-of="${box.dataset.layer}"]`).classList.toggle("shown", box.checked);
}

// One transform for pictures and lines: the place looked at in the middle, then mirrored and turned.
function turn() {
  const [w, h] = [frame.clientWidth, frame.clientHeight];
  const sx = view.mirror ? -view.near : view.near;
  const sy = view.upside ? -view.near : view.near;
  // Upside down is half a turn, which a painter gets by turning the canvas: both ways at once.
  const mx = view.upside ? -sx : sx;
  const cx = view.near === 1 ? 0.5 : view.x / given.width;
  const cy = view.near === 1 ? 0.5 : view.y / given.height;
  let left = w / 2 - mx * cx * w;
  let top = h / 2 - sy * cy * h;
  // No edge of the pictures comes into the frame.
  const inside = (start, scale, size) => {
    const [low, high] = scale > 0 ? [size - scale * size, 0] : [size, -scale * size];
    return Math.min(high, Math.max(low, start));
  };
  left = inside(left, mx, w);
  top = inside(top, sy, h);
  for (const sheet of document.querySelectorAll(".turned"))
    sheet.style.transform = `translate(${left}px, ${top}px) scale(${mx}, ${sy})`;
  marks.style.setProperty("--near", view.near);
  marks.style.setProperty("--px", given.width / Math.max(w, 1));
  const flip = `scale(${Math.sign(mx)}, ${Math.sign(sy)})`;
  for (const text of marks.querySelectorAll("text"))
    text.setAttribute("transform", `translate(${text.getAttribute("x")} ${text.getAttribute("y")}) ${flip} translate(${-text.getAttribute("x")} ${-text.getAttribute("y")})`);
}

function drawCurtain() {
  const at = Number(curtain.value);
  over.style.clipPath = `inset(0 ${100 - at}% 0 0)`;
  over.style.opacity = Number(veil.value) / 100;
  edge.style.left = `${at}%`;
  edge.hidden = at === 0 || at === 100;
  document.getElementById("side-painted").hidden = at < 12;
  document.getElementById("side-sitter").hidden = at > 88;
}

function fit() {
  const wide = frame.parentElement.clientWidth;
  const small = window.innerWidth <= 900;
  const high = Math.max(320, window.innerHeight * (small ? 0.7 : 0.66));
  const share = Math.min(wide / given.width, high / given.height);
  frame.style.width = `${Math.floor(given.width * share)}px`;
  frame.style.height = `${Math.floor(given.height * share)}px`;
  turn();
}
