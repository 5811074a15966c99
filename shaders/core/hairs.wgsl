// Fibres that have come loose and lie over a cloth, without a repeat.
//
// Layers lie on each other, the topmost first. Each is a grid of long cells that point the layer's own
// way, its rows shifted by hash, with a curved fibre in some cells; a slow noise bends each layer
// in its own way. A fibre never leaves its cell, so a layer costs one look.
//
// Texels from `form` on, as src/fabric/structure/hairs.rs packs them:
//   0 layers, seed, half width (mm), share of the cloth they hide
//   1 least and greatest length (mm), least and greatest height (mm)
//   2 colour, share of dark ones
//   3 colour of light ones, their share
//   4 mean colour, 1 / size of bends
//   5 1 / length of a cell, 1 / its width, share of cells with a fibre, cell's length (mm)
//   6 on: a layer's direction (cosine, sine), how far each of two noises bends it (mm)

// Reflectance of dark fibres over that of others.
const HAIR_DARK: f32 = 0.45;
// How far a fibre lets what is under it show: it is clear but for its dye.
const HAIR_CLEAR: f32 = 0.35;
// How much lighter and darker clouds of blended fibres are.
const HAIR_CLOUDS: f32 = 0.16;
// Size to which a footprint still sees single fibres.
const HAIR_SEEN_MM: f32 = 0.1;

fn hair_cover(form: u32) -> f32 {
    return load_texel(form).w;
}

// A fibre of the cell that holds a place, if it lies there: its number in `found`, else `found` 0.
struct HairHit {
    found: f32,
    // Along it, 0 to 1, and across it, -1 to 1.
    along: f32,
    across: f32,
    // In the cloth's plane; unit.
    run: vec2f,
    length_mm: f32,
    label: u32,
    cell: i32,
    row: i32,
}

fn hair_in_layer(
    form: u32,
    layer: u32,
    at_mm: vec2f,
    bends: HairBends,
    half_width_mm: f32,
) -> HairHit {
    let miss = HairHit(0.0, 0.0, 0.0, vec2f(1.0, 0.0), 1.0, 0u, 0, 0);
    let head = load_texel(form);
    let cells = load_texel(form + 5u);
    let own = load_texel(form + 6u + layer);
    let label = u32(head.y) + layer * 131u;
    let bend = own.z * bends.first + own.w * bends.second;
    let u = at_mm.x * own.x + at_mm.y * own.y;
    let v = at_mm.y * own.x - at_mm.x * own.y + bend.x;
    let row_place = v * cells.y;
    let row = floor(row_place);
    let j = i32(row);
    // Rows start anywhere: golden shares of a cell.
    let shift = row * 0.618034;
    let cell_place = u * cells.x + shift - floor(shift);
    let cell = floor(cell_place);
    let i = i32(cell);
    if (0.5 + 0.5 * lattice(i, j, label + 1u) >= cells.z) {
        return miss;
    }
    let sizes = load_texel(form + 1u);
    let length_mm = sizes.x + (sizes.y - sizes.x) * (0.5 + 0.5 * lattice(i, j, label + 2u));
    let spare_mm = cells.w - length_mm;
    let from_mm = spare_mm * (0.5 + 0.5 * lattice(i, j, label + 3u));
    let along = ((cell_place - cell) * cells.w - from_mm) / length_mm;
    if (along < 0.0 || along > 1.0) {
        return miss;
    }
    // A bow and a slant inside the cell, so that fibres of a row are not parallel.
    let place = 2.0 * along - 1.0;
    let bow = 0.34 * lattice(i, j, label + 4u);
    let slant = 0.34 * lattice(i, j, label + 5u);
    let middle = 0.5 + slant * place * (1.0 - abs(bow)) + bow * (place * place - 0.5);
    let off = (row_place - row - middle) / cells.y;
    let steep = (slant * (1.0 - abs(bow)) + 2.0 * bow * place) * 2.0 / (length_mm * cells.y);
    let grow = vec2f(
        -own.y + bend.y - steep * own.x,
        own.x + bend.z - steep * own.y,
    );
    let size = root(max(dot(grow, grow), 1e-4));
    let across = off / (size * half_width_mm);
    if (abs(across) >= 1.0) {
        return miss;
    }
    let run = vec2f(grow.y, -grow.x) * (1.0 / size);
    return HairHit(1.0, along, across, run, length_mm, label, i, j);
}

// What lies loose over a thread.
struct Loose {
    colour: vec3f,
    // How much of the thread's light a fibre's own stands for; 0 where there is none.
    share: f32,
    fibre: vec3f,
    height_mm: f32,
    // The same of all fibres that are too fine to be told apart.
    faded_colour: vec3f,
    faded: f32,
}

struct Covered {
    under: Thread,
    loose: Loose,
}

fn nothing_loose() -> Loose {
    return Loose(vec3f(0.0), 0.0, vec3f(1.0, 0.0, 0.0), 0.0, vec3f(0.0), 0.0);
}

// What is seen where loose fibres may lie over `under`.
fn hair_over(form: u32, at_mm: vec2f, footprint_mm: f32, under: Thread) -> Covered {
    let head = load_texel(form);
    let mean = load_texel(form + 4u);
    let blend = load_texel(form + 2u).w + load_texel(form + 3u).w;
    let left = detail_left(footprint_mm, HAIR_SEEN_MM);
    let bends = hair_bends(at_mm, mean.w, u32(head.y) + 7u);
    // Blended fibres lie in lighter and darker clouds, which outlive the single ones.
    let tone = 1.0 + HAIR_CLOUDS * blend * (bends.first.x + bends.second.x);
    // Fibres get clearer as they fade, which makes less noise than were they narrower. All together they then hide what
    // they no longer do one by one.
    var made = Covered(under, nothing_loose());
    made.loose.faded = head.w * (1.0 - left) / max(1.0 - head.w * left, 1e-3);
    made.loose.faded_colour = mean.xyz * tone;
    if (under.part != PART_GAP) {
        made.loose.faded_colour = mix(mean.xyz * tone, under.colour, HAIR_CLEAR);
    }
    if (left < 0.02) {
        return made;
    }
    let layers = u32(head.x);
    for (var layer = 0u; layer < layers; layer += 1u) {
        let hit = hair_in_layer(form, layer, at_mm, bends, head.z);
        if (hit.found > 0.0) {
            let fibre = hair_thread(form, hit, under, tone);
            made.loose.colour = fibre.colour;
            made.loose.share = left;
            made.loose.fibre = fibre.fibre;
            made.loose.height_mm = fibre.height_mm;
            return made;
        }
    }
    return made;
}

// Two slow noises over the cloth, each with its slopes.
struct HairBends {
    first: vec3f,
    second: vec3f,
}

// Of `scale` values a millimetre; both are cut out of the same hashes.
fn hair_bends(at_mm: vec2f, scale: f32, label: u32) -> HairBends {
    let x = at_mm.x * scale;
    let y = at_mm.y * scale;
    let whole_x = floor(x);
    let whole_y = floor(y);
    let i = i32(whole_x);
    let j = i32(whole_y);
    let f = x - whole_x;
    let g = y - whole_y;
    let ease_x = f * f * (3.0 - 2.0 * f);
    let ease_y = g * g * (3.0 - 2.0 * g);
    let a = weave_pair(i, j, label);
    let b = weave_pair(i + 1, j, label) - a;
    let c = weave_pair(i, j + 1, label) - a;
    let d = weave_pair(i + 1, j + 1, label) - a - b - c;
    let value = a + b * ease_x + c * ease_y + d * (ease_x * ease_y);
    let by_x = (b + d * ease_y) * (6.0 * f * (1.0 - f) * scale);
    let by_y = (c + d * ease_x) * (6.0 * g * (1.0 - g) * scale);
    return HairBends(vec3f(value.x, by_x.x, by_y.x), vec3f(value.y, by_x.y, by_y.y));
}

// A fibre that is there.
fn hair_thread(form: u32, hit: HairHit, under: Thread, tone: f32) -> Thread {
    let sizes = load_texel(form + 1u);
    let tall_mm = sizes.z + (sizes.w - sizes.z)
        * (0.5 + 0.5 * lattice(hit.cell, hit.row, hit.label + 6u));
    let kind = 0.5 + 0.5 * lattice(hit.cell, hit.row, hit.label + 9u);
    let plain = load_texel(form + 2u);
    let light = load_texel(form + 3u);
    var colour = plain.xyz;
    if (kind < plain.w) {
        colour = plain.xyz * HAIR_DARK;
    }
    if (kind >= 1.0 - light.w) {
        colour = light.xyz;
    }
    colour *= tone;
    if (under.part != PART_GAP) {
        colour = mix(colour, under.colour, HAIR_CLEAR);
    }
    // An arc over the cloth, both ends in it.
    let climb = tall_mm * 4.0 * (1.0 - 2.0 * hit.along) / hit.length_mm;
    let arc_mm = tall_mm * 4.0 * hit.along * (1.0 - hit.along) + 0.01;
    let fibre = normalize(vec3f(hit.run, climb));
    return Thread(colour, PART_HAIR, fibre, max(under.height_mm, 0.0) + arc_mm, vec2f(0.0), hit.across, under.blur);
}
