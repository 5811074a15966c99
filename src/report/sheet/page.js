"use strict";
(async () => {
  const by = (id) => document.getElementById(id);
  const data = JSON.parse(by("data").textContent);
  const { width, height, shift, offset } = data;
  const pixels = width * height;
  const canvas = by("live"), still = by("still"), spot = by("spot"), cross = by("cross");
  const rows = [...document.querySelectorAll("fieldset[data-light]")];
  const cannot = () => { by("cannot").hidden = false; };
  if (typeof DecompressionStream !== "function") return cannot();

  // The light of each lamp: planes of green, red less green, blue less green, as steps from what is around.
  let layers;
  try {
    const packed = Uint8Array.from(atob(by("light").textContent), (c) => c.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
    const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
    if (bytes.length !== 6 * pixels * data.lights.length) throw new Error("length");
    const value = new Float32Array(65536 - offset), bits = new Uint32Array(value.buffer);
    for (let k = 1; k < value.length; k++) bits[k] = ((k + offset) << shift) >>> 0;
    const plane = (at) => {
      const out = new Int32Array(pixels);
      for (let y = 0, i = 0; y < height; y++) {
        for (let x = 0; x < width; x++, i++) {
          const folded = bytes[at + i] | (bytes[at + pixels + i] << 8);
          const expected = y === 0 ? (x === 0 ? 0 : out[i - 1]) : x === 0 ? out[i - width] : (out[i - 1] + out[i - width]) >> 1;
          out[i] = expected + ((folded >> 1) ^ -(folded & 1));
        }
      }
      return out;
    };
    layers = data.lights.map((_, k) => {
      const at = 6 * pixels * k;
      const [green, red, blue] = [0, 2, 4].map((n) => plane(at + n * pixels));
      const light = new Float32Array(3 * pixels);
      for (let i = 0; i < pixels; i++) {
        light[3 * i] = value[red[i] + green[i]];
        light[3 * i + 1] = value[green[i]];
        light[3 * i + 2] = value[blue[i] + green[i]];
      }
      return light;
    });
  } catch {
    return cannot();
  }

  // The sRGB curve of IEC 61966-2-1 and its rounding to 8 bits, by where each code begins.
  const linear = (code) => (code <= 0.04045 ? code / 12.92 : ((code + 0.055) / 1.055) ** 2.4);
  const begins = Float64Array.from({ length: 257 }, (_, k) => (k > 255 ? Infinity : linear((k - 0.5) / 255)));
  const first = new Uint8Array(4097);
  for (let k = 0, code = 0; k <= 4096; k++) {
    while ((k / 4096) ** 2 >= begins[code + 1]) code++;
    first[k] = code;
  }
  const encode = (v) => {
    if (!(v > 0)) return 0;
    if (v >= 1) return 255;
    let code = first[(Math.sqrt(v) * 4096) | 0];
    while (v >= begins[code + 1]) code++;
    return code;
  };

  const part = (row, name) => row.querySelector(`[data-part="${name}"]`);
  const weights = () => rows.map((row, k) => {
    const light = data.lights[k];
    const kelvin = part(row, "kelvin");
    const own = kelvin.dataset.moved !== "yes";
    const colour = own ? light.colour : light.colours[(kelvin.value - data.kelvins[0]) / data.kelvins[2]];
    const amount = part(row, "on").checked ? 2 ** part(row, "power").value : 0;
    return colour.map((c) => c * amount);
  });
  const sum = (mix, i) => {
    const out = [0, 0, 0];
    for (let k = 0; k < layers.length; k++)
      for (let c = 0; c < 3; c++) out[c] += layers[k][3 * i + c] * mix[k][c];
    return out;
  };

  const context = canvas.getContext("2d", { colorSpace: "srgb" });
  const image = context.createImageData(width, height);
  image.data.fill(255);
  const sums = new Float64Array(3 * pixels);
  let mix = weights(), at = null;
  const draw = () => {
    mix = weights();
    sums.fill(0);
    layers.forEach((light, k) => {
      const [r, g, b] = mix[k];
      if (r === 0 && g === 0 && b === 0) return;
      for (let i = 0; i < 3 * pixels; i += 3) {
        sums[i] += light[i] * r;
        sums[i + 1] += light[i + 1] * g;
        sums[i + 2] += light[i + 2] * b;
      }
    });
    for (let i = 0, o = 0; i < 3 * pixels; i += 3, o += 4) {
      image.data[o] = encode(sums[i]);
      image.data[o + 1] = encode(sums[i + 1]);
      image.data[o + 2] = encode(sums[i + 2]);
    }
    context.putImageData(image, 0, 0);
    tell();
  };
  const tell = () => {
    if (!at) return;
    const rgb = sum(mix, at[1] * width + at[0]);
    const luminance = 0.2126390059 * rgb[0] + 0.7151686788 * rgb[1] + 0.0721923154 * rgb[2];
    const stops = Math.log2(luminance / 0.18);
    const sign = stops < 0 ? "−" : "+";
    const read = luminance > 0 ? `${sign}${Math.abs(stops).toFixed(1)} ${data.words.stops}` : data.words.dark;
    spot.textContent = `${read}, sRGB ${rgb.map(encode).join(" ")}`;
    cross.hidden = false;
    cross.style.left = `${(100 * (at[0] + 0.5)) / width}%`;
    cross.style.top = `${(100 * (at[1] + 0.5)) / height}%`;
  };
  let asked = 0;
  const redraw = () => {
    if (!asked) asked = requestAnimationFrame(() => { asked = 0; draw(); });
  };

  const show = (row) => {
    const power = Number(part(row, "power").value);
    part(row, "power-out").textContent = `${power < 0 ? "−" : "+"}${Math.abs(power).toFixed(1)}`;
    part(row, "kelvin-out").textContent = part(row, "kelvin").dataset.moved === "yes" ? part(row, "kelvin").value : Math.round(data.lights[rows.indexOf(row)].kelvin);
  };
  const reset = () => {
    rows.forEach((row, k) => {
      part(row, "on").checked = true;
      part(row, "power").value = 0;
      const kelvin = part(row, "kelvin");
      kelvin.value = data.lights[k].kelvin;
      kelvin.dataset.moved = "no";
      show(row);
    });
    redraw();
  };
  rows.forEach((row) => {
    row.addEventListener("input", (event) => {
      if (event.target.dataset.part === "kelvin") event.target.dataset.moved = "yes";
      show(row);
      redraw();
    });
  });
  by("reset").addEventListener("click", reset);

  const place = (x, y) => {
    at = [Math.min(width - 1, Math.max(0, Math.floor(x))), Math.min(height - 1, Math.max(0, Math.floor(y)))];
    tell();
  };
  const pointed = (event) => {
    const box = canvas.getBoundingClientRect();
    spot.setAttribute("aria-live", "off");
    place(((event.clientX - box.left) / box.width) * width, ((event.clientY - box.top) / box.height) * height);
  };
  canvas.addEventListener("pointermove", pointed);
  canvas.addEventListener("pointerdown", pointed);
  canvas.addEventListener("keydown", (event) => {
    const step = Math.max(1, Math.round(width * (event.shiftKey ? 0.1 : 0.01)));
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (!move) return;
    event.preventDefault();
    spot.setAttribute("aria-live", "polite");
    const [x, y] = at ?? [width >> 1, height >> 1];
    place(x + move[0], y + move[1]);
  });

  canvas.width = width;
  canvas.height = height;
  reset();
  draw();
  still.hidden = true;
  canvas.hidden = false;
  document.querySelectorAll(".mix").forEach((part) => { part.hidden = false; });
  document.documentElement.dataset.ready = "yes";
})();
