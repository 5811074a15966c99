//! What is kept of cloths: the same to the bit as when worked out, wherever among the texels; nothing spoilt,
//! stale or of another cloth is ever taken for it.

#[path = "common/cloths.rs"]
mod cloths;

use cloths::*;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use swatchlight::scene::cloth::{ClothRecord, Dye, Shelf, add};

type Texels = Vec<[f32; 4]>;

/// With and without loose fibres, sheer, solid.
const NAMES: [&str; 4] = ["cotton-plain", "chiffon", "floral-lace", "leather"];

/// The cloth after so many texels of something else.
fn added(shelf: &Shelf, name: &str, dye: Dye, before: usize) -> (Texels, ClothRecord) {
    let mut texels = vec![[0.25; 4]; before];
    let record = shelf.add(&fabric(name), dye, &mut texels).unwrap();
    (texels, record)
}

fn worked_out(name: &str, dye: Dye, before: usize) -> (Texels, ClothRecord) {
    let mut texels = vec![[0.25; 4]; before];
    let record = add(&fabric(name), dye, &mut texels).unwrap();
    (texels, record)
}

fn bits(texels: &Texels) -> Vec<[u32; 4]> {
    texels.iter().map(|t| t.map(f32::to_bits)).collect()
}

#[track_caller]
fn same(what: &str, a: &(Texels, ClothRecord), b: &(Texels, ClothRecord)) {
    assert!(bits(&a.0) == bits(&b.0), "{what}: texels differ");
    assert!(a.1 == b.1, "{what}: records differ");
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap();
    entries.map(|e| e.unwrap().path()).collect()
}

#[test]
fn kept_cloths_are_those_that_were_worked_out() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::new(Some(folder.path().join("new")));
    for (k, name) in NAMES.into_iter().enumerate() {
        let plain = worked_out(name, Dye::Own, 0);
        same(name, &plain, &added(&shelf, name, Dye::Own, 0));
        assert_eq!(shelf.kept().0, k + 1);
        same(name, &plain, &added(&shelf, name, Dye::Own, 0));
        // After other texels, from the same file.
        same(
            name,
            &worked_out(name, Dye::Own, 1237),
            &added(&shelf, name, Dye::Own, 1237),
        );
        assert_eq!(shelf.kept().0, k + 1, "{name} was kept twice");
    }
    // In one reflectance it is another cloth.
    let dye = Dye::One(0.4);
    same(
        "dyed",
        &worked_out("cotton-plain", dye, 5),
        &added(&shelf, "cotton-plain", dye, 5),
    );
    assert_eq!(shelf.kept().0, NAMES.len() + 1);
    let mut texels = Vec::new();
    let mut other = fabric("cotton-plain");
    other.light.gloss += 0.01;
    shelf.add(&other, Dye::Own, &mut texels).unwrap();
    assert_eq!(shelf.kept().0, NAMES.len() + 2);
}

/// A whole file is read and not worked out again: one with another last number, sealed anew, shows that number.
#[test]
fn a_whole_file_is_taken_at_its_word() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::new(Some(folder.path().into()));
    let first = added(&shelf, "poplin", Dye::Own, 3);
    let [file] = &files(folder.path())[..] else {
        panic!("one file")
    };
    let mut bytes = std::fs::read(file).unwrap();
    let end = bytes.len() - 32;
    bytes[end - 4..end].copy_from_slice(&7.0_f32.to_le_bytes());
    let seal = Sha256::digest(&bytes[16 + 32..end]);
    bytes[end..].copy_from_slice(&seal);
    std::fs::write(file, &bytes).unwrap();
    let second = added(&shelf, "poplin", Dye::Own, 3);
    assert_eq!(second.0.last().unwrap()[3], 7.0);
    assert_eq!(
        bits(&first.0).split_last().unwrap().1,
        bits(&second.0).split_last().unwrap().1
    );
}

/// Cut, changed, of the wrong length though sealed, or another cloth's: worked out anew, and kept anew.
#[test]
fn spoilt_files_are_made_anew() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::new(Some(folder.path().into()));
    let plain = added(&shelf, "poplin", Dye::Own, 0);
    let file = files(folder.path()).remove(0);
    let whole = std::fs::read(&file).unwrap();
    let sealed = |body: &[u8]| [&whole[..48], body, &Sha256::digest(body)].concat();
    let body = &whole[48..whole.len() - 32];
    let other = {
        let beside = tempfile::tempdir().unwrap();
        added(
            &Shelf::new(Some(beside.path().into())),
            "denim",
            Dye::Own,
            0,
        );
        std::fs::read(files(beside.path()).remove(0)).unwrap()
    };
    let mut changed = whole.clone();
    changed[1000] ^= 1;
    for (what, bytes) in [
        ("empty", Vec::new()),
        ("cut", whole[..whole.len() / 2].to_vec()),
        ("changed", changed),
        ("short but sealed", sealed(&body[..body.len() - 16])),
        ("odd but sealed", sealed(&body[..body.len() - 1])),
        ("long but sealed", sealed(&[body, &[0; 16]].concat())),
        ("another cloth's", other),
    ] {
        std::fs::write(&file, bytes).unwrap();
        same(what, &plain, &added(&shelf, "poplin", Dye::Own, 0));
        assert!(
            std::fs::read(&file).unwrap() == whole,
            "{what}: not kept anew"
        );
    }
}

#[test]
fn runs_at_once_agree() {
    let folder = tempfile::tempdir().unwrap();
    let run = || {
        added(
            &Shelf::new(Some(folder.path().into())),
            "poplin",
            Dye::Own,
            9,
        )
    };
    let found: Vec<_> = std::thread::scope(|scope| {
        let runs: Vec<_> = (0..4).map(|_| scope.spawn(run)).collect();
        runs.into_iter().map(|r| r.join().unwrap()).collect()
    });
    for one in &found {
        same("one of many", &found[0], one);
    }
    assert_eq!(Shelf::new(Some(folder.path().into())).kept().0, 1);
}

/// A folder that cannot be written costs time only.
#[test]
fn a_shelf_that_cannot_be_written_is_none() {
    let folder = tempfile::tempdir().unwrap();
    let in_the_way = folder.path().join("file");
    std::fs::write(&in_the_way, "no folder").unwrap();
    let shelf = Shelf::new(Some(in_the_way));
    same(
        "no folder",
        &worked_out("poplin", Dye::Own, 0),
        &added(&shelf, "poplin", Dye::Own, 0),
    );
}
