//! Whether the pictures of a set go together: readings, background and skin within a stated distance.
//!
//! Readings and background are compared among the pictures under one lighting, since another lighting is
//! meant to look other; skin among all pictures of one stand-in and skin.

use super::tones::Tones;
use serde::{Deserialize, Serialize};

/// What is compared of one picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// The picture's name.
    pub name: String,
    /// Under which lighting; empty where the list has but one.
    pub lighting: String,
    /// Whose skin: stand-in and tone.
    pub skin_of: String,
    /// The f-number that the exposing meter read; none in the dark.
    pub f_number: Option<f64>,
    /// Its tones.
    pub tones: Tones,
}

/// How far one thing lies apart over a group of pictures.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Apart {
    /// "reading", "background" or "skin".
    pub what: String,
    /// The lighting, or whose skin; empty where there is but one group.
    pub among: String,
    /// Pictures compared.
    pub pictures: usize,
    /// Least and greatest, in stops: of readings over f/1, of tones over an 18 % card.
    pub stops: [f64; 2],
    /// The pictures of the least and the greatest.
    pub between: [String; 2],
    /// Whether they lie no farther apart than is tolerated.
    pub within: bool,
}

impl Apart {
    /// Greatest minus least.
    pub fn apart_stops(&self) -> f64 {
        self.stops[1] - self.stops[0]
    }
}

/// Compares the pictures of a set; groups in the order in which they first come.
pub fn compare(set: &[Compared], tolerance_stops: f64) -> Vec<Apart> {
    type Value = fn(&Compared) -> Option<f64>;
    type Group = fn(&Compared) -> &str;
    let things: [(&str, Value, Group); 3] = [
        // Each whole f-stop is a stop: N² doubles.
        (
            "reading",
            |c| c.f_number.map(|n| 2.0 * n.log2()),
            |c| &c.lighting,
        ),
        ("background", |c| c.tones.background_stops, |c| &c.lighting),
        ("skin", |c| c.tones.skin_stops, |c| &c.skin_of),
    ];
    let mut found: Vec<Apart> = Vec::new();
    for (what, value, group) in things {
        let begun = found.len();
        for compared in set {
            let Some(stops) = value(compared) else {
                continue;
            };
            let among = group(compared);
            let Some(known) = found[begun..].iter_mut().find(|a| a.among == among) else {
                found.push(Apart {
                    what: what.to_owned(),
                    among: among.to_owned(),
                    pictures: 1,
                    stops: [stops; 2],
                    between: [compared.name.clone(), compared.name.clone()],
                    within: true,
                });
                continue;
            };
            known.pictures += 1;
            if stops < known.stops[0] {
                known.stops[0] = stops;
                known.between[0].clone_from(&compared.name);
            }
            if stops > known.stops[1] {
                known.stops[1] = stops;
                known.between[1].clone_from(&compared.name);
            }
        }
    }
    for apart in &mut found {
        apart.within = apart.apart_stops() <= tolerance_stops;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(name: &str, lighting: &str, f_number: f64, skin_stops: f64) -> Compared {
        Compared {
            name: name.into(),
            lighting: lighting.into(),
            skin_of: "woman".into(),
            f_number: Some(f_number),
            tones: Tones {
                skin_stops: Some(skin_stops),
                ..Tones::default()
            },
        }
    }

    /// f/8 to f/8·√2 is a stop, by the definition of the f-number.
    #[test]
    fn groups_are_compared_apart() {
        let set = [
            picture("a", "side", 8.0, 0.5),
            picture("b", "side", 8.0 * 2.0_f64.sqrt(), 0.7),
            picture("c", "front", 4.0, 0.6),
        ];
        let found = compare(&set, 0.5);
        assert_eq!(found.len(), 3, "{found:?}");
        let (side, front, skin) = (&found[0], &found[1], &found[2]);
        assert_eq!(
            (side.what.as_str(), side.among.as_str()),
            ("reading", "side")
        );
        assert!((side.apart_stops() - 1.0).abs() < 1e-12 && !side.within);
        assert_eq!(side.between, ["a", "b"]);
        assert_eq!((front.pictures, front.within), (1, true));
        assert_eq!((skin.what.as_str(), skin.pictures), ("skin", 3));
        assert!((skin.apart_stops() - 0.2).abs() < 1e-12 && skin.within);
    }
}
