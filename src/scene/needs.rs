//! What of all that the kernels can do a scene asks for: the rest is left out of its kernels, which then
//! compile in less time and leave a GPU more room.

use super::Scene;
use super::records::{
    Emitter, Material, NOTHING, SHAPE_CAP, SHAPE_GLOBE, SHAPE_TUBE, TABLE_GATE, TABLE_QUARTER,
    TABLE_RADIAL, TOP_CONDUCTOR, TOP_EYE, TOP_HAIR, TOP_NONE, TOP_PAINTED, TOP_SHEEN, TOP_SKIN,
};

const PRESENT: &str = include_str!("../../shaders/core/present.wgsl");

/// The names of `shaders/core/present.wgsl`, in an order of their own.
const NAMES: [&str; 31] = [
    "GLOBES", "TUBES", "CAPS", "SIDES", "RADIALS", "QUARTERS", "GATES", "SCREENS", "CHOICES",
    "BARE", "TOPS", "METAL", "SHEEN", "PAINT", "SKIN", "EYES", "HAIR", "SHEETS", "RELIEF", "FLATS",
    "CLOTH", "WOVEN", "KNIT", "NET", "LACE", "VELVET", "CORDUROY", "LEATHER", "SEQUINS", "MAPS",
    "FIBRES",
];

/// Which of them a scene has, as bits, the first name's the lowest.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Needs(u32);

impl Needs {
    /// All.
    pub const ALL: Self = Self(u32::MAX);

    /// A scene's, and what it is to have at least.
    pub fn of(scene: &Scene) -> Self {
        let light = |is: &dyn Fn(&Emitter) -> bool| scene.emitters.iter().any(is);
        let shape = |shape: u32| light(&|e| e.shape == shape);
        let table = |kind: u32| light(&|e| e.table_kind == kind);
        let surface = |is: &dyn Fn(&Material) -> bool| scene.materials.iter().any(is);
        let top = |top: u32| surface(&|m| m.top == top);
        let row = |m: &Material, row: usize| {
            let place = (m.cloth != NOTHING.0).then_some(m.cloth as usize + row)?;
            scene.texels.get(place).copied()
        };
        let structure =
            |number: u32| surface(&|m| row(m, 0).is_some_and(|r| r[0] == number as f32));
        let cloth = surface(&|m| m.cloth != NOTHING.0);
        let has = [
            shape(SHAPE_GLOBE.0),
            shape(SHAPE_TUBE.0),
            shape(SHAPE_CAP.0),
            light(&|e| e.sides > 0),
            table(TABLE_RADIAL.0),
            table(TABLE_QUARTER.0),
            table(TABLE_GATE.0),
            light(&|e| e.screen != NOTHING.0),
            light(&|e| e.candidates > 1),
            scene.params.bare != 0,
            cloth || surface(&|m| m.top != TOP_NONE.0 || m.albedo_table != NOTHING.0),
            top(TOP_CONDUCTOR.0),
            top(TOP_SHEEN.0),
            top(TOP_PAINTED.0) || top(TOP_SKIN.0) || top(TOP_EYE.0),
            top(TOP_SKIN.0),
            top(TOP_EYE.0),
            top(TOP_HAIR.0),
            surface(&|m| m.straight > 0.0),
            surface(&|m| m.relief != NOTHING.0),
            // Known or not yet: the kernels are the same before and after.
            !scene.flats.is_empty() || surface(&|m| m.bounce != NOTHING.0),
            cloth,
            structure(0),
            structure(1),
            structure(2),
            structure(3),
            structure(4),
            structure(5),
            structure(6),
            structure(7),
            structure(8),
            surface(&|m| row(m, 7).is_some_and(|r| r[1] >= 0.0)),
        ];
        let bits = has
            .iter()
            .enumerate()
            .fold(0, |bits, (i, is)| bits | (u32::from(*is) << i));
        Self(bits).with(scene.least_needs)
    }

    /// The one of a name in the text, `SKIN` for `HAS_SKIN`; of an unknown one, none.
    pub fn named(name: &str) -> Self {
        let at = NAMES.iter().position(|n| *n == name);
        Self(at.map_or(0, |i| 1 << i))
    }

    /// What either has.
    pub fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether kernels for these can do what `other` asks for.
    pub fn cover(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// How many there are.
    pub fn count(self) -> u32 {
        self.0.count_ones()
    }

    /// Whether the scene has something of a name.
    pub fn has(self, name: &str) -> bool {
        NAMES
            .iter()
            .position(|n| *n == name)
            .is_some_and(|i| self.0 >> i & 1 == 1)
    }

    /// `shaders/core/present.wgsl` with the scene's answers.
    pub fn text(self) -> String {
        PRESENT
            .lines()
            .map(|line| match name_in(line) {
                Some(name) if !self.has(name) => line.replace("true", "false") + "\n",
                _ => format!("{line}\n"),
            })
            .collect()
    }
}

/// The name that a line of the text tells of.
fn name_in(line: &str) -> Option<&str> {
    let (name, _) = line.strip_prefix("const HAS_")?.split_once(':')?;
    Some(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every name of the text is known here, and the other way round.
    #[test]
    fn names_are_those_of_the_kernels() {
        let told: Vec<&str> = PRESENT.lines().filter_map(name_in).collect();
        assert_eq!(told.len(), NAMES.len());
        assert!(NAMES.iter().all(|n| told.contains(n)));
    }

    /// The text of a scene without anything says no to all; of one with all it is the file.
    #[test]
    fn the_text_says_what_there_is() {
        assert_eq!(Needs::ALL.text(), PRESENT);
        assert_eq!(Needs::of(&Scene::default()), Needs::default());
        let none = Needs::default().text();
        assert!(!none.contains("= true"), "{none}");
        assert_eq!(none.matches("= false").count(), NAMES.len());
        let mut scene = Scene::default();
        scene.materials.push(Material {
            cloth: NOTHING.0,
            relief: NOTHING.0,
            bounce: NOTHING.0,
            albedo_table: NOTHING.0,
            top: TOP_SKIN.0,
            ..Material::default()
        });
        let skin = Needs::of(&scene);
        for (name, has) in [
            ("SKIN", true),
            ("PAINT", true),
            ("TOPS", true),
            ("HAIR", false),
        ] {
            assert_eq!(skin.has(name), has, "{name}");
        }
    }
}
