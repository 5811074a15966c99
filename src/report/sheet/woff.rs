//! A typeface packed for a page: the tables of a TrueType file, each deflated (W3C, WOFF File Format 1.0).

/// Bytes of the header and of a table's entry.
const HEADER: usize = 44;
const ENTRY: usize = 20;
/// The same in a TrueType file.
const TRUETYPE_HEADER: usize = 12;
const TRUETYPE_ENTRY: usize = 16;

/// The file as WOFF; empty where it is no TrueType file.
pub(super) fn woff(file: &[u8]) -> Vec<u8> {
    packed(file).unwrap_or_default()
}

fn packed(file: &[u8]) -> Option<Vec<u8>> {
    let count = usize::from(u16::from_be_bytes(file.get(4..6)?.try_into().ok()?));
    let mut directory = Vec::new();
    let mut body: Vec<u8> = Vec::new();
    // Of the unpacked file: header, entries and tables, each filled up to four bytes.
    let mut whole = TRUETYPE_HEADER + TRUETYPE_ENTRY * count;
    for k in 0..count {
        let at = TRUETYPE_HEADER + TRUETYPE_ENTRY * k;
        let entry = file.get(at..at + TRUETYPE_ENTRY)?;
        let number = |from: usize| -> Option<usize> {
            let bytes = entry.get(from..from + 4)?.try_into().ok()?;
            usize::try_from(u32::from_be_bytes(bytes)).ok()
        };
        let (offset, length) = (number(8)?, number(12)?);
        let table = file.get(offset..offset.checked_add(length)?)?;
        let deflated = miniz_oxide::deflate::compress_to_vec_zlib(table, 9);
        let kept = if deflated.len() < length {
            &deflated
        } else {
            table
        };
        directory.extend_from_slice(&entry[..4]);
        for value in [HEADER + ENTRY * count + body.len(), kept.len(), length] {
            directory.extend_from_slice(&u32::try_from(value).ok()?.to_be_bytes());
        }
        directory.extend_from_slice(&entry[4..8]);
        body.extend_from_slice(kept);
        body.resize(body.len().next_multiple_of(4), 0);
        whole += length.next_multiple_of(4);
    }
    let mut out = b"wOFF".to_vec();
    out.extend_from_slice(file.get(..4)?);
    let length = HEADER + directory.len() + body.len();
    out.extend_from_slice(&u32::try_from(length).ok()?.to_be_bytes());
    out.extend_from_slice(&u16::try_from(count).ok()?.to_be_bytes());
    out.extend_from_slice(&[0; 2]);
    out.extend_from_slice(&u32::try_from(whole).ok()?.to_be_bytes());
    // Version of the file, and no metadata.
    out.extend_from_slice(&[0, 1, 0, 0]);
    out.extend_from_slice(&[0; 20]);
    out.extend(directory);
    out.extend(body);
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_typeface_is_packed_smaller_and_whole() {
        let file = epaint_default_fonts::UBUNTU_LIGHT;
        let packed = woff(file);
        assert!(packed.starts_with(b"wOFF") && packed.len() < file.len());
        let number = |at: usize| u32::from_be_bytes(packed[at..at + 4].try_into().unwrap());
        assert_eq!(number(8) as usize, packed.len());
        assert_eq!(number(16) as usize % 4, 0);
        // Every table comes out as it went in.
        let count = usize::from(u16::from_be_bytes([packed[12], packed[13]]));
        for k in 0..count {
            let at = HEADER + ENTRY * k;
            let [offset, kept, length] = [4, 8, 12].map(|n| number(at + n) as usize);
            let bytes = &packed[offset..offset + kept];
            let table = if kept < length {
                miniz_oxide::inflate::decompress_to_vec_zlib(bytes).expect("a zlib stream")
            } else {
                bytes.to_vec()
            };
            let entry = TRUETYPE_HEADER + TRUETYPE_ENTRY * k;
            let from = u32::from_be_bytes(file[entry + 8..entry + 12].try_into().unwrap()) as usize;
            assert_eq!(table, &file[from..from + length]);
        }
        assert!(woff(b"no typeface").is_empty());
    }
}
