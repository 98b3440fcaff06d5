// The picture with its marks: where it is seen from, how it is drawn, and the magnifier.

const stage = document.getElementById("stage");
const glass = document.getElementById("glass");
const layers = given.layers.map((layer) => {
  const image = new Image();
  image.onload = () => draw();
  image.src = layer.data;
  return { ...layer, image };
});

// zoom: CSS px per stored px; left and top: the stored px at the corner of the stage.
const view = { zoom: 1, left: 0, top: 0, isWhole: true, pointer: null };

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function toPicture(x, y) {
  return { x: view.left + x / view.zoom, y: view.top + y / view.zoom };
}

function toStage(point) {
  return { x: (point.x - view.left) * view.zoom, y: (point.y - view.top) * view.zoom };
}

function wholeZoom() {
  return Math.min(stage.clientWidth / given.picture.width, stage.clientHeight / given.picture.height) * 0.96;
}

function showWhole() {
  view.zoom = wholeZoom() || 1;
  view.left = given.picture.width / 2 - stage.clientWidth / 2 / view.zoom;
  view.top = given.picture.height / 2 - stage.clientHeight / 2 / view.zoom;
  view.isWhole = true;
}

// The first look: the placed points with room round them for hair, ears and neck, or the whole picture.
function showHead() {
  const places = Object.values(record.now.points);
  if (places.length < 3) return;
  const [xs, ys] = [places.map((point) => point.x), places.map((point) => point.y)];
  const size = Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys));
  if (!size) return;
  view.zoom = Math.max(wholeZoom(), Math.min(stage.clientWidth, stage.clientHeight) / size / 2.1);
  centreOn({ x: (Math.max(...xs) + Math.min(...xs)) / 2, y: (Math.max(...ys) + Math.min(...ys)) / 2 });
}

function zoomBy(factor, x = stage.clientWidth / 2, y = stage.clientHeight / 2) {
  const fixed = toPicture(x, y);
  const most = 40 / Math.min(...given.layers.map((layer) => layer.width / layer.shown));
  view.zoom = Math.min(most, Math.max(wholeZoom() / 2, view.zoom * factor));
  view.left = fixed.x - x / view.zoom;
  view.top = fixed.y - y / view.zoom;
  view.isWhole = false;
}

function shiftBy(dx, dy) {
  const half = { x: stage.clientWidth / 2 / view.zoom, y: stage.clientHeight / 2 / view.zoom };
  view.left = Math.min(given.picture.width - half.x, Math.max(-half.x, view.left - dx / view.zoom));
  view.top = Math.min(given.picture.height - half.y, Math.max(-half.y, view.top - dy / view.zoom));
  view.isWhole = false;
}

function bringIntoView(point) {
  const at = toStage(point);
  const isSeen = at.x > 20 && at.y > 20 && at.x < stage.clientWidth - 20 && at.y < stage.clientHeight - 20;
  if (!isSeen) centreOn(point);
}

function centreOn(point) {
  view.left = point.x - stage.clientWidth / 2 / view.zoom;
  view.top = point.y - stage.clientHeight / 2 / view.zoom;
  view.isWhole = false;
}

function paper(canvas) {
  const ratio = window.devicePixelRatio || 1;
  const [width, height] = [canvas.clientWidth, canvas.clientHeight];
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  return { pen, width, height };
}

function drawLayers(pen, zoom, left, top) {
  for (const layer of layers) {
    if (!layer.image.complete || !layer.image.naturalWidth) continue;
    pen.imageSmoothingEnabled = (zoom * layer.width) / layer.shown < 4;
    pen.imageSmoothingQuality = "high";
    pen.drawImage(layer.image, (layer.x - left) * zoom, (layer.y - top) * zoom, layer.width * zoom, layer.height * zoom);
  }
}

// A mark leaves its own middle free. By hand: a cross; as found: a broken ring; the chosen one: a cross with long arms.
function drawMark(pen, x, y, state, isChosen) {
  const strokes = (width, style) => {
    pen.lineWidth = width;
    pen.strokeStyle = style;
    pen.beginPath();
    if (state === "found" && !isChosen) {
      for (const start of [0.3, 1.87, 3.44, 5.01]) {
        pen.moveTo(x + 5 * Math.cos(start), y + 5 * Math.sin(start));
        pen.arc(x, y, 5, start, start + 0.97);
      }
    } else {
      const [near, far] = isChosen ? [4, 15] : [2.5, 7];
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        pen.moveTo(x + dx * near, y + dy * near);
        pen.lineTo(x + dx * far, y + dy * far);
      }
    }
    pen.stroke();
  };
  pen.lineCap = "round";
  strokes(4.5, "rgba(255,253,248,.9)");
  strokes(1.8, isChosen ? "#b02a12" : state === "found" ? "#1f5378" : "#1b1b1d");
}

function draw() {
  if (view.isWhole) showWhole();
  const { pen, width, height } = paper(stage);
  drawLayers(pen, view.zoom, view.left, view.top);
  for (const name of names) {
    const point = record.now.points[name];
    if (!point || name === chosen.name) continue;
    const at = toStage(point);
    if (at.x > -20 && at.y > -20 && at.x < width + 20 && at.y < height + 20) drawMark(pen, at.x, at.y, point.source, false);
  }
  const point = record.now.points[chosen.name];
  if (point) drawChosen(pen, toStage(point), width);
  Object.assign(stage.dataset, { zoom: view.zoom, left: view.left, top: view.top });
  drawGlass();
}

function drawChosen(pen, at, width) {
  drawMark(pen, at.x, at.y, "hand", true);
  pen.font = "italic 14px Georgia, serif";
  pen.textBaseline = "middle";
  const isAtEdge = at.x > width - 130;
  pen.textAlign = isAtEdge ? "right" : "left";
  const x = at.x + (isAtEdge ? -12 : 12);
  pen.lineWidth = 4;
  pen.lineJoin = "round";
  pen.strokeStyle = "rgba(255,253,248,.95)";
  pen.strokeText(chosen.name, x, at.y - 14);
  pen.fillStyle = "#b02a12";
  pen.fillText(chosen.name, x, at.y - 14);
}

function drawGlass() {
  const point = view.pointer ?? record.now.points[chosen.name];
  glass.hidden = !point;
  if (!point) return;
  const at = toStage(point);
  const side = glass.clientWidth || 170;
  glass.classList.toggle("aside", at.x > stage.clientWidth - side - 60 && at.y < side + 60);
  const { pen, width, height } = paper(glass);
  const zoom = Math.max(8 / grainAt(point.x, point.y), view.zoom * 2);
  const [left, top] = [point.x - width / 2 / zoom, point.y - height / 2 / zoom];
  pen.fillStyle = colour("--mat");
  pen.save();
  pen.beginPath();
  pen.arc(width / 2, height / 2, width / 2, 0, 7);
  pen.clip();
  pen.fillRect(0, 0, width, height);
  drawLayers(pen, zoom, left, top);
  pen.restore();
  for (const [thick, style] of [[3, "rgba(255,253,248,.8)"], [1, "#1b1b1d"]]) {
    pen.lineWidth = thick;
    pen.strokeStyle = style;
    pen.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      pen.moveTo(width / 2 + dx * 5, height / 2 + dy * 5);
      pen.lineTo(width / 2 + dx * width * 0.48, height / 2 + dy * height * 0.48);
    }
    pen.stroke();
  }
}
