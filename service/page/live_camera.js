// The phone's camera for the capture assistant: opened, held steady in its settings, looked at in small frames, and the photo.
import { el } from "./dom.js";
import { ofPixels, ofPlanes, pieceOf, shrink } from "./live_frame.js";

const PHOTO_MS = 4000; // some phones never answer when a photo is asked for
const TRIES = 2; // photos asked for before the frames themselves are kept
const QUALITY = 0.95;

// Without a way to take photos the stream itself must have their resolution.
const takesPhotos = () => typeof ImageCapture !== "undefined" && "takePhoto" in ImageCapture.prototype;

export async function openCamera(video) {
  const [width, height] = takesPhotos() ? [1920, 1440] : [3840, 2160];
  const stream = await navigator.mediaDevices.getUserMedia({ audio: false, video: { facingMode: { ideal: "environment" }, width: { ideal: width }, height: { ideal: height } } });
  video.srcObject = stream;
  const [track] = stream.getVideoTracks();
  let capture = takesPhotos() ? new ImageCapture(track) : null;
  let failed = 0;
  let settings = null;
  const looking = videoLooker(video);
  try {
    await video.play();
  } catch (problem) {
    track.stop();
    throw problem;
  }
  await ask(track, { torch: false });
  return {
    stream,
    ready: () => video.readyState >= 2 && video.videoWidth > 0,
    size: () => [video.videoWidth, video.videoHeight],
    look: looking,
    // What the automatic settings have found is held, so that the photo is as the frame that was judged. Told to let go after.
    hold: (on) => ask(track, ...["exposureMode", "whiteBalanceMode"].map((name) => ({ [name]: on ? "manual" : "continuous" }))),
    // Whether `photo` takes one, rather than that the best of the frames is kept.
    takes: () => capture !== null,
    async photo() {
      settings ??= await photoSettings(capture);
      try {
        return await soon(capture.takePhoto(settings));
      } catch {
        settings = {}; // one of them may be what this phone can't do
        if (++failed >= TRIES) capture = null;
        return null;
      }
    },
    close: () => stream.getTracks().forEach((one) => one.stop()),
  };
}

// Asks for settings one by one, those that the camera says it has; a camera that refuses goes on as it is.
async function ask(track, ...wanted) {
  const can = track.getCapabilities?.() || {};
  for (const one of wanted) {
    const [[name, value]] = Object.entries(one);
    if (name === "torch" ? can.torch : can[name]?.includes?.(value)) await track.applyConstraints({ advanced: [one] }).catch(() => {});
  }
}

async function photoSettings(capture) {
  const can = await soon(capture.getPhotoCapabilities()).catch(() => ({}));
  const most = (range) => (range?.max > 0 ? range.max : undefined);
  const wanted = { fillLightMode: can.fillLightMode?.includes("off") ? "off" : undefined, imageWidth: most(can.imageWidth), imageHeight: most(can.imageHeight) };
  return Object.fromEntries(Object.entries(wanted).filter(([, value]) => value !== undefined));
}

const soon = (promise) => Promise.race([promise, new Promise((_, fail) => setTimeout(() => fail(new Error("late")), PHOTO_MS))]);

// Judges pictures drawn on a canvas: a small frame of each, and pieces of it in its own resolution when they are asked for.
export function looker() {
  const [small, piece] = [0, 1].map(() => el("canvas").getContext("2d", { willReadFrequently: true }));
  let grey = null;
  return (picture, width, height, judge) => {
    const scale = shrink(width, height);
    const [w, h] = [Math.round(width / scale), Math.round(height / scale)];
    if (small.canvas.width !== w || small.canvas.height !== h) Object.assign(small.canvas, { width: w, height: h });
    small.drawImage(picture, 0, 0, w, h);
    const frame = ofPixels({ rgba: small.getImageData(0, 0, w, h).data, width: w, height: h }, grey);
    grey = frame.grey;
    return judge(frame, ({ x0, y0, x1, y1 }) => {
      const [left, top] = [Math.max(0, Math.floor(x0 * scale)), Math.max(0, Math.floor(y0 * scale))];
      const across = Math.max(2, Math.min(width, Math.ceil(x1 * scale)) - left);
      const down = Math.max(2, Math.min(height, Math.ceil(y1 * scale)) - top);
      if (piece.canvas.width < across || piece.canvas.height < down) Object.assign(piece.canvas, { width: Math.max(across, piece.canvas.width), height: Math.max(down, piece.canvas.height) });
      piece.drawImage(picture, left, top, across, down, 0, 0, across, down);
      const { data } = piece.getImageData(0, 0, across, down);
      return { grey: ofPixels({ rgba: data, width: across, height: down }).grey, width: across, height: down, x: left / scale, y: top / scale, scale };
    });
  };
}

// Judges a video's frames by their own planes where the browser gives them (WebCodecs, a W3C draft) and they stand upright,
// else by a canvas.
function videoLooker(video) {
  const drawn = looker();
  let planes = typeof VideoFrame !== "undefined";
  let [data, grey] = [null, null];
  return async (judge) => {
    const [width, height] = [video.videoWidth, video.videoHeight];
    const taken = planes ? await copied().catch(() => null) : null;
    if (!taken) {
      planes = false;
      return drawn(video, width, height, judge);
    }
    const frame = ofPlanes(taken, grey);
    grey = frame.grey;
    return judge(frame, (box) => pieceOf(taken.data, taken.width, taken.height, taken.light, shrink(taken.width, taken.height), box));
  };

  async function copied() {
    const frame = new VideoFrame(video);
    try {
      const { x, y, width, height } = frame.visibleRect;
      if (!["I420", "NV12"].includes(frame.format) || frame.rotation || frame.flip || x || y || width !== video.videoWidth || height !== video.videoHeight) return null;
      if (data?.length !== frame.allocationSize()) data = new Uint8Array(frame.allocationSize());
      const [light, blue, red] = await frame.copyTo(data);
      const colours = frame.format === "NV12" ? { blue: { ...blue, step: 2 }, red: { offset: blue.offset + 1, stride: blue.stride, step: 2 } } : { blue: { ...blue, step: 1 }, red: { ...red, step: 1 } };
      return { data, width, height, light, ...colours, full: Boolean(frame.colorSpace.fullRange), hd: frame.colorSpace.matrix === "bt709" };
    } finally {
      frame.close();
    }
  }
}

// The stream's frames kept at their own size: only the sharpest since `forget` is.
export function keeper(video) {
  const kept = el("canvas");
  let best = Infinity;
  return {
    forget: () => (best = Infinity),
    offer(edge) {
      if (edge >= best) return;
      best = edge;
      Object.assign(kept, { width: video.videoWidth, height: video.videoHeight });
      kept.getContext("2d").drawImage(video, 0, 0);
    },
    blob: () => (best < Infinity ? new Promise((done) => kept.toBlob(done, "image/jpeg", QUALITY)) : Promise.resolve(null)),
  };
}
