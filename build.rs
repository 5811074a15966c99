//! Translates the light-transport kernels (shaders/core/*.wgsl) to Rust at build time.
//!
//! The published translator turns WGSL functions into methods of one struct. Here that struct's
//! impl is parsed and rewritten as a trait, `Kernels`: the functions declared in shaders/seam.wgsl
//! become required methods (the platform seam that src/render/cpu implements), all others provided
//! ones. rustc then checks every signature. What the translator is known to get wrong is refused
//! here, with the line of the offending code (DEVELOPERS.md, "The platform seam").

use naga::{Expression, Handle, MathFunction, Module, Statement};
use naga_rust_back as back;
use std::{collections::HashSet, env, fs, path::Path};
use syn::visit_mut::{self, VisitMut};

/// Records that the host fills in and both executors read: plain old data (no padding).
const SHARED: [&str; 7] = [
    "Params", "Vertex", "Triangle", "Material", "Emitter", "Receptor", "Hit",
];

/// Small or hot enough that a call would cost more than its copy (measured).
const INLINED: [&str; 77] = [
    "emitter_luminance",
    "emitter_hit",
    "emitter_point",
    "emitter_pdf",
    "look_at",
    "torus",
    "turn",
    "hash",
    "unit",
    "to_local",
    "to_world",
    "luminance",
    "largest",
    "table_value",
    "place_value",
    "place_pdf",
    "place_response",
    "place_scatter",
    "light_up",
    "side_of",
    "leave",
    "through_chance",
    "top_albedo",
    "coupled_base",
    "power_weight",
    "light_effort",
    "clear_way",
    "meet_emitter",
    "gather_one",
    "place_of",
    "nearest_emitter",
    "detail_left",
    "lattice",
    "noise_along",
    "noise_over",
    "knit_half",
    "knit_load",
    "knit_middle",
    "knit_node",
    "knit_place",
    "knit_rib",
    "knit_surface",
    "knit_top",
    "knit_wander",
    "net_knot",
    "net_load",
    "net_shift",
    "net_single",
    "net_top",
    "net_twisted",
    "net_yarn",
    "lace_load",
    "lace_out",
    "weave_higher",
    "weave_misses",
    "weave_noise",
    "odd_bits",
    "weave_own",
    "weave_pair",
    "weave_rise",
    "weave_section",
    "weave_side",
    "weave_sides",
    "weave_sign",
    "weave_slub",
    "weave_top",
    "weave_uneven",
    "weave_wrap",
    "knit_most",
    "yarn_ply_most",
    "leather_pair",
    "leather_shift",
    "cell_label",
    "bessel_scaled",
    "strand_along",
    "strand_around",
    "strand_share",
];

fn main() {
    println!("cargo::rerun-if-changed=shaders");
    println!("cargo::rerun-if-changed=build.rs");
    let (core, seam) = sources();
    let seam_module = parse(&format!("{}\n{}", struct_source(&core), seam));
    let required: HashSet<String> = seam_module
        .functions
        .iter()
        .filter_map(|(_, f)| f.name.clone())
        .collect();
    let text = format!(
        "{}\n{}",
        core.iter()
            .map(|(_, t)| t.as_str())
            .collect::<Vec<_>>()
            .join("\n"),
        seam
    );
    let module = parse(&text);
    let refused = refuse(&module, &text);
    if !refused.is_empty() {
        panic!(
            "shaders/core uses what the translation cannot carry:\n{}",
            refused.join("\n")
        );
    }
    let info = naga::valid::Validator::new(naga::valid::ValidationFlags::all(), back::CAPABILITIES)
        .validate(&module)
        .unwrap_or_else(|e| panic!("{}", e.emit_to_string(&text)));
    let mut config = back::Config::new()
        .global_struct("Translated")
        .public_items(true)
        .rule(back::Effect::Inline(back::Inline::Maybe));
    for name in INLINED {
        config = config.rule((
            back::Condition::Function(name.into()),
            back::Effect::Inline(back::Inline::Always),
        ));
    }
    for name in SHARED {
        for derive in [
            "::bytemuck::AnyBitPattern",
            "::bytemuck::NoUninit",
            "::core::default::Default",
        ] {
            config = config.rule((
                back::Condition::Struct(name.into()),
                back::Effect::Derive(derive.into()),
            ));
        }
    }
    let rust = back::write_string(&module, &info, config).expect("translate the kernels");
    let (records, kernels) = rewrite(&rust, &required);
    let out = env::var("OUT_DIR").expect("cargo sets OUT_DIR");
    fs::write(Path::new(&out).join("records.rs"), records).expect("write records.rs");
    fs::write(Path::new(&out).join("kernels.rs"), kernels).expect("write kernels.rs");
}

/// The core files in name order, and the seam's declarations.
fn sources() -> (Vec<(String, String)>, String) {
    let mut core = Vec::new();
    for entry in fs::read_dir("shaders/core").expect("shaders/core") {
        let path = entry.expect("entry of shaders/core").path();
        if path.extension().is_some_and(|e| e == "wgsl") {
            core.push((
                path.display().to_string(),
                fs::read_to_string(&path).expect("kernel source"),
            ));
        }
    }
    core.sort();
    (
        core,
        fs::read_to_string("shaders/seam.wgsl").expect("shaders/seam.wgsl"),
    )
}

/// The file of shared records alone, enough for the seam's signatures.
fn struct_source(core: &[(String, String)]) -> String {
    core.iter()
        .find(|(name, _)| name.ends_with("types.wgsl"))
        .map(|(_, text)| text.clone())
        .expect("shaders/core/types.wgsl")
}

fn parse(text: &str) -> Module {
    naga::front::wgsl::parse_str(text).unwrap_or_else(|e| panic!("{}", e.emit_to_string(text)))
}

/// Everything in the kernels that the translator drops, mistranslates or cannot express.
fn refuse(module: &Module, text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let line = |span: naga::Span| span.location(text).line_number;
    for (handle, global) in module.global_variables.iter() {
        found.push(format!(
            "line {}: global variable `{}` (no state, no storage in the core)",
            line(module.global_variables.get_span(handle)),
            global.name.as_deref().unwrap_or("?")
        ));
    }
    for (handle, _) in module.overrides.iter() {
        found.push(format!(
            "line {}: override",
            line(module.overrides.get_span(handle))
        ));
    }
    for (_, ty) in module.types.iter() {
        match &ty.inner {
            naga::TypeInner::Array {
                size: naga::ArraySize::Constant(n),
                ..
            } if n.get() > 32 => {
                found.push(format!("array of {n} (at most 32)"));
            }
            naga::TypeInner::Struct { members, .. } => {
                for m in members {
                    if matches!(module.types[m.ty].inner, naga::TypeInner::Array { .. }) {
                        found.push(format!(
                            "array inside a struct (`{}`)",
                            m.name.as_deref().unwrap_or("?")
                        ));
                    }
                }
            }
            _ => {}
        }
    }
    for (_, function) in module.functions.iter() {
        let name = function.name.as_deref().unwrap_or("?");
        for argument in &function.arguments {
            if matches!(
                module.types[argument.ty].inner,
                naga::TypeInner::Pointer { .. }
            ) {
                found.push(format!("fn {name}: pointer argument"));
            }
        }
        for (handle, variable) in function.local_variables.iter() {
            if variable.init.is_none() && !assigned_at_once(function, handle) {
                found.push(format!(
                    "line {}: `var {}` without a first value",
                    line(function.local_variables.get_span(handle)),
                    variable.name.as_deref().unwrap_or("?")
                ));
            }
        }
        for (handle, expression) in function.expressions.iter() {
            let at = line(function.expressions.get_span(handle));
            match expression {
                Expression::Math { fun, .. } if banned(*fun) => {
                    found.push(format!(
                        "line {at}: fn {name}: builtin {fun:?} is not carried over"
                    ));
                }
                Expression::As { convert: None, .. } => {
                    found.push(format!("line {at}: fn {name}: bitcast"));
                }
                _ => {}
            }
        }
        if breaks_in_switch(&function.body, false) {
            found.push(format!("fn {name}: `break` inside a `switch`"));
        }
    }
    found
}

fn banned(f: MathFunction) -> bool {
    use MathFunction as M;
    matches!(
        f,
        M::Sqrt
            | M::InverseSqrt
            | M::Log
            | M::Step
            | M::Refract
            | M::SmoothStep
            | M::Fract
            | M::Round
            | M::Modf
            | M::Frexp
            | M::Ldexp
            | M::CountTrailingZeros
            | M::CountLeadingZeros
            | M::CountOneBits
            | M::ReverseBits
            | M::ExtractBits
            | M::InsertBits
            | M::FirstTrailingBit
            | M::FirstLeadingBit
            | M::Unpack4x8snorm
            | M::Unpack4x8unorm
            | M::Unpack2x16snorm
            | M::Unpack2x16unorm
            | M::Unpack2x16float
            | M::Unpack4xI8
            | M::Unpack4xU8
            | M::QuantizeToF16
    )
}

/// naga hoists a non-constant first value into a store just after the variable: look for one.
fn assigned_at_once(function: &naga::Function, variable: Handle<naga::LocalVariable>) -> bool {
    fn stores(block: &naga::Block, f: &naga::Function, v: Handle<naga::LocalVariable>) -> bool {
        block.iter().any(|s| match s {
            Statement::Store { pointer, .. } => {
                matches!(f.expressions[*pointer], Expression::LocalVariable(h) if h == v)
            }
            Statement::Block(b) => stores(b, f, v),
            Statement::If { accept, reject, .. } => stores(accept, f, v) || stores(reject, f, v),
            Statement::Loop {
                body, continuing, ..
            } => stores(body, f, v) || stores(continuing, f, v),
            Statement::Switch { cases, .. } => cases.iter().any(|c| stores(&c.body, f, v)),
            _ => false,
        })
    }
    stores(&function.body, function, variable)
}

fn breaks_in_switch(block: &naga::Block, in_switch: bool) -> bool {
    block.iter().any(|s| match s {
        Statement::Break => in_switch,
        Statement::Block(b) => breaks_in_switch(b, in_switch),
        Statement::If { accept, reject, .. } => {
            breaks_in_switch(accept, in_switch) || breaks_in_switch(reject, in_switch)
        }
        Statement::Switch { cases, .. } => cases.iter().any(|c| {
            // naga ends each case without fall-through; only an explicit early break matters.
            let body: Vec<_> = c.body.iter().collect();
            body.iter()
                .take(body.len().saturating_sub(1))
                .any(|s| match s {
                    Statement::Break => true,
                    Statement::Block(b) => breaks_in_switch(b, true),
                    Statement::If { accept, reject, .. } => {
                        breaks_in_switch(accept, true) || breaks_in_switch(reject, true)
                    }
                    _ => false,
                })
        }),
        Statement::Loop {
            body, continuing, ..
        } => breaks_in_switch(body, false) || breaks_in_switch(continuing, false),
        _ => false,
    })
}

/// Splits the translation into the shared records and the trait of kernels.
fn rewrite(rust: &str, required: &HashSet<String>) -> (String, String) {
    let file = syn::parse_file(rust).expect("the translator's output is Rust");
    let mut records = Vec::new();
    let mut helpers = Vec::new();
    let mut methods = Vec::new();
    let shared = |name: &syn::Ident| SHARED.iter().any(|s| name == s);
    for item in file.items {
        match item {
            syn::Item::Struct(s) if s.ident == "Translated" => {}
            syn::Item::Struct(s) => {
                if shared(&s.ident) {
                    records.push(syn::Item::Struct(s))
                } else {
                    helpers.push(syn::Item::Struct(s))
                }
            }
            syn::Item::Const(mut c) => {
                c.vis = syn::parse_quote!(pub);
                records.push(syn::Item::Const(c));
            }
            syn::Item::Impl(i) => {
                let of = match &*i.self_ty {
                    syn::Type::Path(p) => p
                        .path
                        .segments
                        .last()
                        .expect("a type has a name")
                        .ident
                        .clone(),
                    _ => continue,
                };
                if of == "Translated" {
                    if i.trait_.is_none() {
                        methods.extend(i.items);
                    }
                } else if shared(&of) {
                    records.push(syn::Item::Impl(i));
                } else {
                    helpers.push(syn::Item::Impl(i));
                }
            }
            other => helpers.push(other),
        }
    }
    let names: HashSet<String> = methods
        .iter()
        .filter_map(|m| match m {
            syn::ImplItem::Fn(f) => f
                .sig
                .ident
                .to_string()
                .strip_prefix("v_")
                .map(str::to_string),
            _ => None,
        })
        .collect();
    let mut trait_items: Vec<syn::TraitItem> = Vec::new();
    for method in methods {
        let syn::ImplItem::Fn(mut f) = method else {
            continue;
        };
        let Some(name) = f
            .sig
            .ident
            .to_string()
            .strip_prefix("v_")
            .map(str::to_string)
        else {
            continue;
        };
        f.sig.ident = syn::Ident::new(&name, f.sig.ident.span());
        Unprefix { names: &names }.visit_block_mut(&mut f.block);
        Labels::default().visit_block_mut(&mut f.block);
        let attrs: Vec<_> = f
            .attrs
            .into_iter()
            .filter(|a| a.path().is_ident("inline"))
            .collect();
        let default = (!required.contains(&name)).then_some(f.block);
        trait_items.push(syn::TraitItem::Fn(syn::TraitItemFn {
            attrs: if default.is_some() { attrs } else { Vec::new() },
            semi_token: default.is_none().then(Default::default),
            sig: f.sig,
            default,
        }));
    }
    let kernels: syn::File = syn::parse_quote! {
        #(#helpers)*
        /// The kernels of shaders/core, over whatever platform implements the seam.
        pub trait Kernels {
            #(#trait_items)*
        }
    };
    let records: syn::File = syn::parse_quote! { #(#records)* };
    (
        prettyplease::unparse(&records),
        prettyplease::unparse(&kernels),
    )
}

/// Calls of `self.v_name(...)` become `self.name(...)`.
struct Unprefix<'a> {
    names: &'a HashSet<String>,
}

impl VisitMut for Unprefix<'_> {
    fn visit_expr_method_call_mut(&mut self, call: &mut syn::ExprMethodCall) {
        // min and max as one instruction each: WGSL leaves open which operand a NaN gives, and the
        // runtime's take three to settle it.
        let method = call.method.to_string();
        if ["min", "max", "clamp"].contains(&method.as_str()) {
            call.method = syn::Ident::new(&format!("plain_{method}"), call.method.span());
        }
        // The runtime's casts are not marked for inlining; the kernels' own are.
        if let Some(to) = call.method.to_string().strip_prefix("cast_elem_as_") {
            call.method = syn::Ident::new(&format!("cast_{to}"), call.method.span());
        }
        if let Some(bare) = call
            .method
            .to_string()
            .strip_prefix("v_")
            .filter(|n| self.names.contains(*n))
        {
            call.method = syn::Ident::new(bare, call.method.span());
        }
        visit_mut::visit_expr_method_call_mut(self, call);
    }
}

/// The translator names every loop's labels alike; rustc warns of labels that hide one another,
/// so each gets a number.
#[derive(Default)]
struct Labels {
    open: Vec<(String, String)>,
    made: usize,
}

impl Labels {
    fn open(&mut self, label: &mut Option<syn::Label>) -> bool {
        let Some(label) = label else { return false };
        let old = label.name.ident.to_string();
        let new = format!("{old}_{}", self.made);
        self.made += 1;
        label.name.ident = syn::Ident::new(&new, label.name.ident.span());
        self.open.push((old, new));
        true
    }

    fn name(&self, label: &mut Option<syn::Lifetime>) {
        let Some(label) = label else { return };
        let old = label.ident.to_string();
        if let Some((_, new)) = self.open.iter().rev().find(|(o, _)| *o == old) {
            label.ident = syn::Ident::new(new, label.ident.span());
        }
    }
}

impl VisitMut for Labels {
    fn visit_expr_loop_mut(&mut self, e: &mut syn::ExprLoop) {
        let opened = self.open(&mut e.label);
        visit_mut::visit_expr_loop_mut(self, e);
        if opened {
            self.open.pop();
        }
    }

    fn visit_expr_block_mut(&mut self, e: &mut syn::ExprBlock) {
        let opened = self.open(&mut e.label);
        visit_mut::visit_expr_block_mut(self, e);
        if opened {
            self.open.pop();
        }
    }

    fn visit_expr_break_mut(&mut self, e: &mut syn::ExprBreak) {
        self.name(&mut e.label);
        visit_mut::visit_expr_break_mut(self, e);
    }

    fn visit_expr_continue_mut(&mut self, e: &mut syn::ExprContinue) {
        self.name(&mut e.label);
        visit_mut::visit_expr_continue_mut(self, e);
    }
}
