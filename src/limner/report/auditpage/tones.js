// How the two pictures are seen: lightness from light, never from the numbers in the file.
const LIGHT = Float32Array.from({length: 256}, (_, n) => {
  const v = n / 255;
  return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
});

function lightnessOf(pixels, gain) {
  const out = new Float32Array(pixels.length / 4);
  const tables = [0.2126729, 0.7151522, 0.0721750].map((share, k) => LIGHT.map((light) => share * gain[k] * light));
  for (let n = 0, p = 0; n < out.length; n++, p += 4) {
    const y = Math.min(1, tables[0][pixels[p]] + tables[1][pixels[p + 1]] + tables[2][pixels[p + 2]]);
    out[n] = y > 216 / 24389 ? 116 * Math.cbrt(y) - 16 : y * 24389 / 27;
  }
  return out;
}

const GREYS = Uint8ClampedArray.from({length: 1001}, (_, n) => {
  const l = n / 10;
  const y = l > 8 ? ((l + 16) / 116) ** 3 : l * 27 / 24389;
  return 255 * (y <= 0.0031308 ? 12.92 * y : 1.055 * y ** (1 / 2.4) - 0.055);
});

function asGrey(lightness, width, height) {
  const image = new ImageData(width, height);
  for (let n = 0, p = 0; n < lightness.length; n++, p += 4) {
    const grey = GREYS[Math.max(0, Math.min(1000, Math.round(10 * lightness[n])))];
    image.data[p] = image.data[p + 1] = image.data[p + 2] = grey;
    image.data[p + 3] = 255;
  }
  return image;
}

function inValues(lightness, cuts) {
  const levels = [...cuts, 100].map((cut, k) => ((k ? cuts[k - 1] : 0) + cut) / 2);
  return lightness.map((l) => {
    let k = 0;
    while (k < cuts.length && l > cuts[k]) k++;
    return levels[k];
  });
}

// Large masses: what is left with the eyes half closed. Shrunk and drawn large again, which blurs alike everywhere.
function blurred(canvas, lightness, width, height) {
  const whole = document.createElement("canvas");
  whole.width = width;
  whole.height = height;
  whole.getContext("2d").putImageData(asGrey(lightness, width, height), 0, 0);
  const small = document.createElement("canvas");
  small.width = Math.max(8, Math.round(width / 18));
  small.height = Math.max(8, Math.round(height / 18));
  const shrinking = small.getContext("2d");
  shrinking.imageSmoothingQuality = "high";
  shrinking.drawImage(whole, 0, 0, small.width, small.height);
  const context = canvas.getContext("2d", {willReadFrequently: true});
  context.imageSmoothingQuality = "high";
  context.drawImage(small, 0, 0, width, height);
  return lightnessOf(context.getImageData(0, 0, width, height).data, [1, 1, 1]);
}
