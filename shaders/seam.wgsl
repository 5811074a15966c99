// The platform seam, as declared for the translation to Rust. Each function here
// becomes a required method that src/render/cpu implements; on a GPU,
// gpu/platform.wgsl defines the same functions over storage buffers.

fn params() -> Params { return Params(); }
fn load_vertex(index: u32) -> Vertex { return Vertex(); }
fn load_triangle(index: u32) -> Triangle { return Triangle(); }
fn load_material(index: u32) -> Material { return Material(); }
fn load_emitter(index: u32) -> Emitter { return Emitter(); }
fn load_receptor(index: u32) -> Receptor { return Receptor(); }
fn load_texel(index: u32) -> vec4f { return vec4f(); }
// First hit, or Hit with triangle == NOTHING. `mode` is one of TRACE_*; an opaque trace that
// hits nothing answers u = 1 if it met a sheet that passes light, else 0.
fn trace(origin: vec3f, direction: vec3f, t_max: f32, mode: u32) -> Hit { return Hit(); }
// Adds light to one layer of the sample in work.
fn deposit(layer: u32, light: vec3f) { }
// Tells the film what the camera sees first: reflectance, normal, depth.
fn describe(albedo: vec3f, normal: vec3f, depth_m: f32) { }
fn root(x: f32) -> f32 { return x; }
fn reverse(x: u32) -> u32 { return x; }
