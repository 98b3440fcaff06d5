// Pictures in, controls connected.
const LEGENDS = {
  colour: "Solid: where the sitter's features belong. Dashed: as painted.",
  grey: "Lightness, both by the same light; the painting brought to the reference's exposure where its values were compared.",
  masses: "Blurred as with the eyes half closed, in three values.",
  difference: "Lighter than the middle grey: painted lighter than the sitter. Darker: painted darker. Errors of the drawing show at edges.",
};
const canvases = {sitter: document.getElementById("sitter"), painted: document.getElementById("painted")};
const originals = {};
const lightness = {};

function load(name) {
  return new Promise((done) => {
    const image = new Image();
    image.onload = () => {
      const context = canvases[name].getContext("2d", {willReadFrequently: true});
      context.drawImage(image, 0, 0, given.width, given.height);
      originals[name] = context.getImageData(0, 0, given.width, given.height);
      done();
    };
    image.src = given[name];
  });
}

function lightnesses() {
  if (!lightness.sitter) {
    lightness.sitter = lightnessOf(originals.sitter.data, [1, 1, 1]);
    lightness.painted = lightnessOf(originals.painted.data, given.gain);
  }
  return lightness;
}

function seenAs(how) {
  const [w, h] = [given.width, given.height];
  const both = how === "colour" ? null : lightnesses();
  const difference = how === "difference" ? both.painted.map((l, n) => 50 + 2 * (l - both.sitter[n])) : null;
  for (const [name, canvas] of Object.entries(canvases)) {
    const context = canvas.getContext("2d", {willReadFrequently: true});
    if (how === "colour") context.putImageData(originals[name], 0, 0);
    else if (how === "grey") context.putImageData(asGrey(both[name], w, h), 0, 0);
    else if (how === "difference") context.putImageData(asGrey(difference, w, h), 0, 0);
    else if (how === "masses") context.putImageData(asGrey(inValues(blurred(canvas, both[name], w, h), given.cuts[3]), w, h), 0, 0);
    else context.putImageData(asGrey(inValues(both[name], given.cuts[how]), w, h), 0, 0);
  }
  document.getElementById("legend").textContent = LEGENDS[how] || "Cut where the sitter's values part; the same cuts on both.";
}

let blinking = 0;
function blink(on) {
  const button = document.getElementById("blink");
  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  clearInterval(blinking);
  blinking = 0;
  if (!on) {
    over.hidden = false;
    drawCurtain();
  } else {
    curtain.value = 100;
    drawCurtain();
    over.hidden = true;
    if (!still) blinking = setInterval(() => { over.hidden = !over.hidden; }, 700);
  }
  button.setAttribute("aria-pressed", String(on));
}

function choose(number) {
  for (const button of document.querySelectorAll(".step")) {
    const open = button.dataset.step === number && button.getAttribute("aria-expanded") === "false";
    button.setAttribute("aria-expanded", String(open));
    document.getElementById(button.getAttribute("aria-controls")).hidden = !open;
  }
  const chosen = document.querySelector('.step[aria-expanded="true"]');
  const step = chosen && given.steps.find((one) => String(one.number) === chosen.dataset.step);
  for (const arrow of marks.querySelectorAll(".arrow")) arrow.classList.toggle("chosen", Boolean(step) && arrow.dataset.step === chosen.dataset.step);
  if (step) Object.assign(view, nearTo(step));
  else view.near = 1;
  turn();
  // On a narrow screen the picture stands above the list: what was brought near has to be seen.
  const box = frame.getBoundingClientRect();
  if (step && (box.bottom < 80 || box.top > window.innerHeight - 80)) frame.scrollIntoView({block: "start"});
}

function fromPointer(event) {
  const box = frame.getBoundingClientRect();
  curtain.value = Math.round(100 * (event.clientX - box.left) / box.width);
  blink(false);
  drawCurtain();
}

frame.addEventListener("pointerdown", (event) => {
  frame.setPointerCapture(event.pointerId);
  fromPointer(event);
});
frame.addEventListener("pointermove", (event) => { if (frame.hasPointerCapture(event.pointerId)) fromPointer(event); });
frame.addEventListener("keydown", (event) => {
  const by = {ArrowLeft: -2, ArrowRight: 2, Home: -100, End: 100}[event.key];
  if (by === undefined) return;
  event.preventDefault();
  curtain.value = Number(curtain.value) + by;
  drawCurtain();
});
curtain.addEventListener("input", drawCurtain);
veil.addEventListener("input", drawCurtain);
document.getElementById("tone").addEventListener("change", (event) => seenAs(event.target.value));
document.getElementById("blink").addEventListener("click", (event) => blink(event.currentTarget.getAttribute("aria-pressed") === "false"));
document.getElementById("whole").addEventListener("click", () => choose(""));
for (const box of document.querySelectorAll("[data-layer]")) box.addEventListener("change", showLayers);
for (const name of ["mirror", "upside"])
  document.getElementById(name).addEventListener("change", (event) => { view[name] = event.target.checked; turn(); });
for (const button of document.querySelectorAll(".step")) button.addEventListener("click", () => choose(button.dataset.step));
window.addEventListener("resize", fit);

drawMarks();
showLayers();
drawCurtain();
fit();
Promise.all([load("sitter"), load("painted")]).then(() => {
  seenAs("colour");
  document.body.dataset.ready = "yes";
});
