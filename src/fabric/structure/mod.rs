//! How cloths are put together, one file a structure: its keys in a fabric's data file, and its
//! numbers as `shaders/core` reads them.

pub mod corduroy;
pub mod hairs;
pub mod knit;
pub mod lace;
pub mod leather;
pub mod maps;
pub mod net;
pub mod sequins;
pub mod velvet;
pub mod woven;
pub mod yarn;

use super::FabricError;

/// A structure's numbers, put among the texels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Form {
    /// Its first texel.
    pub first: u32,
    /// Size of what has to be seen apart for the structure to show: a yarn's spacing, a cell, a wale.
    pub pitch_mm: f32,
    /// Lowest height of the surface (where gaps are drawn).
    pub low_mm: f32,
    /// Highest.
    pub high_mm: f32,
}

/// A woven cloth with its weave drawn down.
#[derive(Debug, Clone, PartialEq)]
pub struct WovenCloth {
    /// What the file says of it.
    pub spec: woven::Woven,
    /// Its weave, with the colours of a draft's own threads.
    pub drafted: woven::Drafted,
}

/// How its surface is shaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shading {
    /// Yarns of fibres lying in them.
    Yarn,
    /// Fibres standing up.
    Pile,
    /// No fibres.
    Solid,
}

/// How a cloth is put together.
#[derive(Debug, Clone, PartialEq)]
pub enum Structure {
    /// Ends and picks by a draft.
    Woven(Box<WovenCloth>),
    /// Loops: plain jersey.
    Jersey(knit::Jersey),
    /// Loops: rib.
    Rib(knit::Rib),
    /// Hexagons of twisted yarn.
    Net(net::Net),
    /// Motifs on a net.
    Lace(lace::Lace),
    /// Pile all over.
    Velvet(velvet::Velvet),
    /// Pile in cords.
    Corduroy(corduroy::Corduroy),
    /// A grained hide.
    Leather(leather::Leather),
    /// Discs sewn on.
    Sequins(sequins::Sequins),
    /// Pictures of the cloth.
    Maps(Box<maps::Pictured>),
}

/// Reads a file named beside a fabric's own: its bytes, or why there are none.
pub type ReadFile<'a> = &'a dyn Fn(&str) -> Result<Vec<u8>, String>;

/// The structures' tables in a fabric's file: one of them is to be there.
#[derive(Debug, Default)]
pub struct Tables {
    /// `[woven]`
    pub woven: Option<woven::Woven>,
    /// `[jersey]`
    pub jersey: Option<knit::Jersey>,
    /// `[rib]`
    pub rib: Option<knit::Rib>,
    /// `[net]`
    pub net: Option<net::Net>,
    /// `[lace]`
    pub lace: Option<lace::Lace>,
    /// `[velvet]`
    pub velvet: Option<velvet::Velvet>,
    /// `[corduroy]`
    pub corduroy: Option<corduroy::Corduroy>,
    /// `[leather]`
    pub leather: Option<leather::Leather>,
    /// `[sequins]`
    pub sequins: Option<sequins::Sequins>,
    /// `[maps]`
    pub maps: Option<super::maps::Maps>,
}

impl Tables {
    /// The one structure that is there.
    ///
    /// # Errors
    /// When there is none or more than one, and what is wrong with a file that it names.
    pub fn one(self, file: ReadFile<'_>) -> Result<Structure, FabricError> {
        let mut found = Vec::new();
        if let Some(spec) = self.woven {
            spec.check()?;
            let drafted = match spec.wif_file() {
                Some(name) => drafted_from_wif(name, file)?,
                None => spec.drafted()?,
            };
            found.push(Structure::Woven(Box::new(WovenCloth { spec, drafted })));
        }
        found.extend(self.jersey.map(Structure::Jersey));
        found.extend(self.rib.map(Structure::Rib));
        found.extend(self.net.map(Structure::Net));
        found.extend(self.lace.map(Structure::Lace));
        found.extend(self.velvet.map(Structure::Velvet));
        found.extend(self.corduroy.map(Structure::Corduroy));
        found.extend(self.leather.map(Structure::Leather));
        found.extend(self.sequins.map(Structure::Sequins));
        if let Some(maps) = self.maps {
            found.push(Structure::Maps(Box::new(maps::Pictured::read(
                &maps, file,
            )?)));
        }
        let known = "woven, jersey, rib, net, lace, velvet, corduroy, leather, sequins or maps";
        match found.len() {
            1 => Ok(found.remove(0)),
            0 => Err(FabricError::Text(format!(
                "nothing says how the cloth is made; add a table: {known}"
            ))),
            _ => Err(FabricError::Text(format!(
                "the cloth is made in several ways at once; keep one table of {known}"
            ))),
        }
    }
}

fn drafted_from_wif(name: &str, file: ReadFile<'_>) -> Result<woven::Drafted, FabricError> {
    let bytes = file(name).map_err(FabricError::Text)?;
    let reading =
        super::draft::read_wif(&bytes).map_err(|e| FabricError::Text(format!("{name}: {e}")))?;
    woven::Drafted::from_draft(&reading.draft)
}

impl Structure {
    /// Puts it among the texels.
    ///
    /// # Errors
    /// What [`Structure::check`] finds too.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Result<Form, FabricError> {
        Ok(match self {
            Self::Woven(s) => s.spec.pack(&s.drafted, seed, texels)?,
            Self::Jersey(s) => s.pack(seed, texels)?,
            Self::Rib(s) => s.pack(seed, texels)?,
            Self::Net(s) => s.pack(seed, texels)?,
            Self::Lace(s) => s.pack(seed, texels)?,
            Self::Velvet(s) => s.pack(seed, texels),
            Self::Corduroy(s) => s.pack(seed, texels),
            Self::Leather(s) => s.pack(seed, texels),
            Self::Sequins(s) => s.pack(seed, texels),
            Self::Maps(s) => s.pack(texels),
        })
    }

    /// Its number in `shaders/core/cloth.wgsl`.
    pub fn number(&self) -> u32 {
        match self {
            Self::Woven(_) => 0,
            Self::Jersey(_) | Self::Rib(_) => 1,
            Self::Net(_) => 2,
            Self::Lace(_) => 3,
            Self::Velvet(_) => 4,
            Self::Corduroy(_) => 5,
            Self::Leather(_) => 6,
            Self::Sequins(_) => 7,
            Self::Maps(_) => 8,
        }
    }

    /// How it is shaded.
    pub fn shading(&self) -> Shading {
        match self {
            Self::Velvet(_) | Self::Corduroy(_) => Shading::Pile,
            Self::Leather(_) | Self::Sequins(_) => Shading::Solid,
            _ => Shading::Yarn,
        }
    }

    /// Whether every number is one that such a cloth can have.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), FabricError> {
        match self {
            Self::Woven(s) => s.spec.check(),
            Self::Jersey(s) => s.check(),
            Self::Rib(s) => s.check(),
            Self::Net(s) => s.check(),
            Self::Lace(s) => s.check(),
            Self::Velvet(s) => s.check(),
            Self::Corduroy(s) => s.check(),
            Self::Leather(s) => s.check(),
            Self::Sequins(s) => s.check(),
            Self::Maps(_) => Ok(()),
        }
    }
}
