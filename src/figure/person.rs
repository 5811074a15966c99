//! Who stands there: build, size, shoes, and the proportions that follow.
//!
//! A size is a set of factors against one base table a build. Breadths grow
//! with the factor, depths with its power 1.15, limbs with its power 0.9: a
//! larger body is deeper before it is broader. The waist has its own factor,
//! since waists vary more than chests do.

/// Which of the two base tables a figure is built from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Build {
    /// A woman's proportions.
    Woman,
    /// A man's proportions.
    Man,
}

impl Build {
    /// The word that names it in files and on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Woman => "woman",
            Self::Man => "man",
        }
    }

    /// The build of that name.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Woman, Self::Man]
            .into_iter()
            .find(|b| b.word() == word)
    }
}

/// What is on the feet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shod {
    /// Nothing.
    Bare,
    /// Court shoes with a heel of about 6 cm.
    Pumps,
    /// Flat slip-on shoes.
    Flats,
    /// Laced shoes with a welted sole and a stacked heel.
    Welted,
}

impl Shod {
    /// The word that names it in files and on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Bare => "barefoot",
            Self::Pumps => "pumps",
            Self::Flats => "flats",
            Self::Welted => "welted",
        }
    }

    /// The footwear of that name.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Bare, Self::Pumps, Self::Flats, Self::Welted]
            .into_iter()
            .find(|s| s.word() == word)
    }
}

/// A size: stature, and factors against the base table (1 is the base).
#[derive(Debug, Clone, PartialEq)]
pub struct Size {
    /// Shown to people: a letter code, or "survey mean".
    pub name: String,
    /// Height of the crown over the floor, in metres, upright and barefoot.
    pub stature_m: f64,
    /// Chest, back and breast.
    pub girth: f64,
    /// The waist.
    pub waist_girth: f64,
    /// Seat and hips.
    pub hip_girth: f64,
    /// Depth of the trunk front to back, at the same girth.
    pub depth: f64,
    /// The neck.
    pub neck: f64,
    /// Upper arm.
    pub arm: f64,
    /// Forearm.
    pub forearm: f64,
    /// Thigh.
    pub thigh: f64,
    /// Lower leg.
    pub calf: f64,
    /// Distance between the shoulder joints.
    pub shoulder: f64,
    /// Length and breadth of the head.
    pub head: f64,
}

impl Size {
    /// Factors that follow from chest and waist as bodies usually go.
    fn letter(name: &str, stature_m: f64, girth: f64, waist_girth: f64, hip_girth: f64) -> Self {
        let limb = (0.7 * girth + 0.3 * hip_girth).powf(0.9);
        Self {
            name: name.to_owned(),
            stature_m,
            girth,
            waist_girth,
            hip_girth,
            depth: 1.05,
            neck: girth.sqrt(),
            arm: limb,
            forearm: limb.sqrt(),
            thigh: hip_girth.powf(0.9),
            calf: hip_girth.powf(0.6),
            shoulder: girth.powf(0.35),
            head: girth.powf(0.1),
        }
    }
}

/// A person to stand in for the sitter.
#[derive(Debug, Clone, PartialEq)]
pub struct Person {
    /// Which base table.
    pub build: Build,
    /// How large.
    pub size: Size,
    /// What is on the feet.
    pub shod: Shod,
}

impl Person {
    /// Size M, in the shoes usual for a shoot: pumps, or welted shoes.
    pub fn new(build: Build) -> Self {
        let (sizes, shod) = match build {
            Build::Woman => (Self::sizes(build), Shod::Pumps),
            Build::Man => (Self::sizes(build), Shod::Welted),
        };
        Self {
            build,
            size: sizes[1].clone(),
            shod,
        }
    }

    /// The sizes of a build, from small to large, then the mean of a survey.
    ///
    /// Letter codes follow the chest ranges of EN 13402-3 (from memory: women
    /// S 82–90, M 90–98, L 98–106, XL 107–119 cm; men S 86–94, M 94–102,
    /// L 102–110, XL 110–118 cm). Statures are a shop figure's, on the tall
    /// side. "Survey mean" meets the means of the ANSUR II survey (Gordon et
    /// al. 2014), a working population: shorter, with a fuller waist.
    pub fn sizes(build: Build) -> [Size; 5] {
        let l = Size::letter;
        match build {
            Build::Woman => [
                l("S", 1.70, 0.927, 0.976, 0.988),
                l("M", 1.74, 1.000, 1.022, 1.041),
                l("L", 1.755, 1.087, 1.126, 1.122),
                l("XL", 1.765, 1.210, 1.280, 1.219),
                Size {
                    name: "survey mean".into(),
                    stature_m: 1.6285,
                    girth: 1.087,
                    waist_girth: 1.297,
                    hip_girth: 1.194,
                    depth: 1.167,
                    neck: 1.205,
                    arm: 1.280,
                    forearm: 1.316,
                    thigh: 1.233,
                    calf: 1.195,
                    shoulder: 1.075,
                    head: 1.095,
                },
            ],
            Build::Man => [
                l("S", 1.76, 0.837, 0.933, 0.989),
                l("M", 1.81, 0.909, 0.989, 1.045),
                l("L", 1.83, 0.996, 1.071, 1.121),
                l("XL", 1.85, 1.080, 1.158, 1.198),
                Size {
                    name: "survey mean".into(),
                    stature_m: 1.7562,
                    girth: 1.053,
                    waist_girth: 1.147,
                    hip_girth: 1.163,
                    depth: 1.116,
                    neck: 1.096,
                    arm: 1.056,
                    forearm: 1.168,
                    thigh: 1.122,
                    calf: 1.085,
                    shoulder: 0.979,
                    head: 0.999,
                },
            ],
        }
    }

    /// The size of that name, for this person's build.
    pub fn sized(mut self, name: &str) -> Option<Self> {
        let mut sizes = Self::sizes(self.build).into_iter();
        self.size = sizes.find(|s| s.name.eq_ignore_ascii_case(name))?;
        Some(self)
    }

    /// The same person in other shoes, or none.
    pub fn shod(mut self, shod: Shod) -> Self {
        self.shod = shod;
        self
    }
}
