// Mouse, pen, finger and keys on the picture.

const touches = new Map();
let grip = null;

function spot(event) {
  const box = stage.getBoundingClientRect();
  return { x: event.clientX - box.left, y: event.clientY - box.top };
}

function markAt(at, reach) {
  let best = null;
  for (const name of names) {
    const point = record.now.points[name];
    if (!point) continue;
    const mark = toStage(point);
    const far = Math.hypot(mark.x - at.x, mark.y - at.y) - (name === chosen.name ? 4 : 0);
    if (far <= reach && (!best || far < best.far)) best = { name, far };
  }
  return best?.name ?? null;
}

function onDown(event) {
  if (event.button) return;
  stage.focus({ preventScroll: true });
  stage.setPointerCapture(event.pointerId);
  const at = spot(event);
  touches.set(event.pointerId, at);
  if (touches.size === 2) {
    if (grip?.moved && grip.mark) record.now = grip.before;
    grip = { kind: "pinch", last: pinch() };
    return;
  }
  const isFinger = event.pointerType === "touch";
  const mark = markAt(at, isFinger ? 24 : 9);
  grip = { kind: "one", mark, from: at, last: at, slack: isFinger ? 8 : 3, moved: false, start: mark && record.now.points[mark], before: record.now };
}

function pinch() {
  const [a, b] = [...touches.values()];
  return { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, far: Math.hypot(a.x - b.x, a.y - b.y) };
}

function onMove(event) {
  const at = spot(event);
  if (!touches.has(event.pointerId)) {
    view.pointer = event.pointerType === "mouse" ? held(toPicture(at.x, at.y)) : null;
    return drawGlass();
  }
  touches.set(event.pointerId, at);
  if (grip?.kind === "pinch" && touches.size === 2) {
    const now = pinch();
    shiftBy(now.x - grip.last.x, now.y - grip.last.y);
    if (grip.last.far > 0) zoomBy(now.far / grip.last.far, now.x, now.y);
    grip.last = now;
    return draw();
  }
  if (grip?.kind !== "one") return;
  if (!grip.moved && Math.hypot(at.x - grip.from.x, at.y - grip.from.y) < grip.slack) return;
  grip.moved = true;
  if (grip.mark) dragMark(at);
  else shiftBy(at.x - grip.last.x, at.y - grip.last.y);
  grip.last = at;
  draw();
}

// While a mark is dragged the record shows the new place, but the step is written down only when it is let go.
function dragMark(at) {
  const x = within(grip.start.x + (at.x - grip.from.x) / view.zoom, given.picture.width);
  const y = within(grip.start.y + (at.y - grip.from.y) / view.zoom, given.picture.height);
  if (chosen.name !== grip.mark) choose(grip.mark, false);
  view.pointer = null;
  record.now = { ...grip.before, points: { ...grip.before.points, [grip.mark]: { ...grip.start, x, y } } };
  grip.place = { x, y };
}

function letGo(isKept) {
  record.now = grip.before;
  if (isKept) place(grip.mark, grip.place.x, grip.place.y, false);
}

function onUp(event) {
  if (!touches.delete(event.pointerId) || !grip) return;
  if (grip.kind === "pinch") {
    if (!touches.size) grip = null;
    return;
  }
  const done = grip;
  if (done.moved && done.mark) letGo(event.type === "pointerup");
  else if (!done.moved && event.type === "pointerup") click(done);
  grip = null;
  refresh(done.moved && done.mark ? chosen.name : null);
}

function click(done) {
  if (done.mark && record.now.points[chosen.name]) return choose(done.mark, true);
  const at = toPicture(done.from.x, done.from.y);
  const isOn = fits(at.x, given.picture.width) && fits(at.y, given.picture.height);
  if (!isOn) return say("That is outside the picture.");
  place(chosen.name, at.x, at.y, false);
  say(spoken(chosen.name));
}

function held(point) {
  return { x: within(point.x, given.picture.width), y: within(point.y, given.picture.height) };
}

function nudge(dx, dy) {
  const point = record.now.points[chosen.name];
  const from = point ?? held(toPicture(stage.clientWidth / 2, stage.clientHeight / 2));
  view.pointer = null;
  place(chosen.name, from.x + (point ? dx : 0), from.y + (point ? dy : 0), Boolean(point));
  bringIntoView(record.now.points[chosen.name]);
  refresh(chosen.name);
}

const arrows = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };

function onStageKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const step = event.shiftKey ? 1 : 0.1;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const acts = {
    Enter: () => chooseNext(event.shiftKey ? -1 : 1),
    Delete: clearChosen,
    Backspace: clearChosen,
    k: keepChosen,
    u: hideChosen,
    "+": () => zoomAtChosen(1.4),
    "=": () => zoomAtChosen(1.4),
    "-": () => zoomAtChosen(1 / 1.4),
    0: () => { showWhole(); draw(); },
  };
  if (arrows[key]) nudge(arrows[key][0] * step, arrows[key][1] * step);
  else if (acts[key]) acts[key]();
  else return;
  event.preventDefault();
}

function zoomAtChosen(factor) {
  const point = record.now.points[chosen.name];
  const at = point ? toStage(point) : { x: stage.clientWidth / 2, y: stage.clientHeight / 2 };
  zoomBy(factor, at.x, at.y);
  draw();
}

stage.addEventListener("pointerdown", onDown);
stage.addEventListener("pointermove", onMove);
stage.addEventListener("pointerup", onUp);
stage.addEventListener("pointercancel", onUp);
stage.addEventListener("pointerleave", () => { view.pointer = null; drawGlass(); });
stage.addEventListener("keydown", onStageKey);
stage.addEventListener("wheel", (event) => {
  event.preventDefault();
  const at = spot(event);
  const lines = event.deltaMode === 1 ? 30 : 1;
  zoomBy(Math.exp(-event.deltaY * lines * 0.0015), at.x, at.y);
  draw();
}, { passive: false });
