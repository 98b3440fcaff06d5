// The faces on their time line.
const given = JSON.parse(document.getElementById("given").textContent);
const shown = given.faces.map((face, k) => [face, k]).filter(([face]) => face !== null);
const face = document.getElementById("face");
const when = document.getElementById("when");
let blinking = 0;

function draw(at) {
  const [data, photo] = shown[at];
  face.src = data;
  face.alt = `The painted face in photo ${photo + 1}`;
  for (const stop of document.querySelectorAll("#stops a")) {
    if (stop.dataset.photo === String(photo)) stop.setAttribute("aria-current", "true");
    else stop.removeAttribute("aria-current");
  }
  document.getElementById("said").textContent = `Photo ${photo + 1}`;
}

function still() {
  clearInterval(blinking);
  blinking = 0;
  document.getElementById("blink").setAttribute("aria-pressed", "false");
}

function show(at) {
  still();
  when.value = Math.max(0, Math.min(shown.length - 1, at));
  draw(Number(when.value));
  document.getElementById("back").disabled = Number(when.value) === 0;
  document.getElementById("on").disabled = Number(when.value) === shown.length - 1;
  document.getElementById("blink").disabled = Number(when.value) === 0;
}

function blink() {
  if (blinking) return show(Number(when.value));
  const now = Number(when.value);
  let before = true;
  document.getElementById("blink").setAttribute("aria-pressed", "true");
  draw(now - 1);
  blinking = setInterval(() => {
    before = !before;
    draw(before ? now - 1 : now);
  }, 700);
}

if (shown.length) {
  when.addEventListener("input", () => show(Number(when.value)));
  document.getElementById("back").addEventListener("click", () => show(Number(when.value) - 1));
  document.getElementById("on").addEventListener("click", () => show(Number(when.value) + 1));
  document.getElementById("blink").addEventListener("click", blink);
  for (const stop of document.querySelectorAll("#stops a[data-photo]"))
    stop.addEventListener("click", () => show(shown.findIndex(([, photo]) => String(photo) === stop.dataset.photo)));
  show(shown.length - 1);
}
document.body.dataset.ready = "yes";
