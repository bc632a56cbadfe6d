// A camera's frame made small for judging: {grey, width, height, rgb(i, j, out)}, and pieces of it in its own size. From a
// canvas's pixels, or from the planes of light and colour that cameras give themselves, which is several times quicker. No
// document, no words.

export const SMALL = 400; // pixels of the small frame's long side

export const shrink = (width, height) => Math.max(1, Math.max(width, height) / SMALL);

// From RGBA pixels that are small already.
export function ofPixels({ rgba, width, height }, into) {
  const grey = into?.length === width * height ? into : new Uint8Array(width * height);
  for (let n = 0, k = 0; n < grey.length; n++, k += 4) grey[n] = (77 * rgba[k] + 150 * rgba[k + 1] + 29 * rgba[k + 2]) >> 8; // ITU-R BT.601
  return {
    grey,
    width,
    height,
    rgb(i, j, out) {
      const k = 4 * (j * width + i);
      [out[0], out[1], out[2]] = [rgba[k], rgba[k + 1], rgba[k + 2]];
    },
  };
}

// From planes in full size: {data, width, height, light: {offset, stride}, blue, red: {offset, stride, step}, full, hd}. The
// colour planes have half the size; `step` is 2 where the two alternate. `full`: 0 to 255, else 16 to 235 and 16 to 240 as
// ITU-R BT.601 and BT.709 (`hd`) have it.
export function ofPlanes({ data, width, height, light, blue, red, full, hd }, into) {
  const scale = shrink(width, height);
  const [w, h] = [Math.round(width / scale), Math.round(height / scale)];
  const grey = into?.length === w * h ? into : new Uint8Array(w * h);
  const columns = [0.25, 0.75].map((part) => Int32Array.from({ length: w }, (_, i) => Math.min(width - 1, (i + part) * scale)));
  const [gain, black] = full ? [1, 0] : [255 / 219, 16];
  const level = Uint8ClampedArray.from({ length: 256 }, (_, v) => gain * (v - black));
  for (let j = 0; j < h; j++) {
    const one = light.offset + light.stride * Math.min(height - 1, Math.floor((j + 0.25) * scale));
    const two = light.offset + light.stride * Math.min(height - 1, Math.floor((j + 0.75) * scale));
    const [left, right] = columns;
    for (let i = 0, n = j * w; i < w; i++, n++) grey[n] = level[(data[one + left[i]] + data[one + right[i]] + data[two + left[i]] + data[two + right[i]] + 2) >> 2];
  }
  const chroma = full ? 1 : 255 / 224;
  const [r, g, b, s] = hd ? [1.5748, 0.1873, 1.8556, 0.4681] : [1.402, 0.3441, 1.772, 0.7141];
  const limit = (v) => (v < 0 ? 0 : v > 255 ? 255 : v);
  return {
    grey,
    width: w,
    height: h,
    rgb(i, j, out) {
      const [x, y] = [((i + 0.5) * scale) >> 1, ((j + 0.5) * scale) >> 1];
      const cb = chroma * (data[blue.offset + blue.stride * y + blue.step * x] - 128);
      const cr = chroma * (data[red.offset + red.stride * y + red.step * x] - 128);
      const luma = grey[j * w + i];
      out[0] = limit(luma + r * cr);
      out[1] = limit(luma - g * cb - s * cr);
      out[2] = limit(luma + b * cb);
    },
  };
}

// A piece of a plane of light, in full size: what `fine` gives to the judge.
export function pieceOf(data, width, height, { offset, stride }, scale, { x0, y0, x1, y1 }) {
  const [left, top] = [x0, y0].map((v, n) => Math.min([width, height][n] - 2, Math.max(0, Math.floor(v * scale))));
  const w = Math.max(2, Math.min(width, Math.ceil(x1 * scale)) - left);
  const h = Math.max(2, Math.min(height, Math.ceil(y1 * scale)) - top);
  const grey = new Uint8Array(w * h);
  for (let j = 0; j < h; j++) {
    const from = offset + (top + j) * stride + left;
    grey.set(data.subarray(from, from + w), j * w);
  }
  return { grey, width: w, height: h, x: left / scale, y: top / scale, scale };
}
