//! The pieces of a lesson's template: text, and places for numbers.

/// A piece of a template.
#[derive(Debug, Clone, PartialEq)]
pub enum Piece {
    /// As it stands.
    Text(String),
    /// A number's place.
    Place(Place),
}

/// A place for a number.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// As it stands between the braces.
    pub written: String,
    /// How to show it.
    pub how: String,
    /// A setup, and a way through what `read --json` says of it.
    pub first: (String, String),
    /// What it is set against.
    pub second: Option<(String, String)>,
}

/// Takes a template apart.
///
/// # Errors
/// What is wrong with a place, and its line.
pub fn pieces(template: &str) -> Result<Vec<Piece>, String> {
    let mut found = Vec::new();
    let mut rest = template;
    while let Some((text, after)) = rest.split_once("{{") {
        let line = template[..template.len() - after.len()]
            .matches('\n')
            .count()
            + 1;
        let (written, after) = after
            .split_once("}}")
            .ok_or_else(|| format!("line {line}: {{{{ without }}}}"))?;
        found.push(Piece::Text(text.to_owned()));
        let place = place(written).ok_or_else(|| format!("line {line}: {{{{{written}}}}}"))?;
        found.push(Piece::Place(place));
        rest = after;
    }
    found.push(Piece::Text(rest.to_owned()));
    Ok(found)
}

/// `AS SETUP PATH [/ SETUP PATH]`; a path may hold spaces, since names do.
fn place(written: &str) -> Option<Place> {
    let (how, rest) = written.trim().split_once(' ')?;
    let way = |text: &str| {
        let (setup, path) = text.trim().split_once(' ')?;
        Some((setup.to_owned(), path.trim().to_owned()))
    };
    let (first, second) = match rest.split_once(" / ") {
        Some((first, second)) => (way(first)?, Some(way(second)?)),
        None => (way(rest)?, None),
    };
    Some(Place {
        written: written.trim().to_owned(),
        how: how.to_owned(),
        first,
        second,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_template_comes_apart_where_its_numbers_go() {
        let found =
            pieces("At {{mark hard points.dark side.together}}, {{stops a b.c / d e.f}}.\n")
                .expect("pieces");
        assert_eq!(found.len(), 5);
        let Piece::Place(first) = &found[1] else {
            panic!("{found:?}");
        };
        assert_eq!(first.first.1, "points.dark side.together");
        let Piece::Place(second) = &found[3] else {
            panic!("{found:?}");
        };
        assert_eq!(second.second, Some(("d".into(), "e.f".into())));
        assert!(pieces("a\n{{b").expect_err("open").contains("line 2"));
        assert!(pieces("{{b}}").is_err());
    }
}
