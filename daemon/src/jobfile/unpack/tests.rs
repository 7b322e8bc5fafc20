//! The same text, however it is packed, and what is said of a packing that is damaged.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may stop")]

use super::{Packing, text_of};
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::{Cursor, Read, Write};
use zip::write::{SimpleFileOptions, ZipWriter};

/// Long enough to be read in several pieces.
fn text() -> Vec<u8> {
    (0..20_000).flat_map(|n| format!("G1 X{}.{} E{n}\n", n % 211, n * 7919 % 1000).into_bytes()).collect()
}

fn gzip(text: &[u8]) -> Vec<u8> {
    let mut gzip = GzEncoder::new(Vec::new(), Compression::fast());
    gzip.write_all(text).unwrap();
    gzip.finish().unwrap()
}

fn fill<W: Write + std::io::Seek>(zip: &mut ZipWriter<W>, entries: &[(&str, &[u8])], how: SimpleFileOptions) {
    for (name, text) in entries {
        if name.ends_with('/') {
            zip.add_directory(*name, how).unwrap();
        } else {
            zip.start_file(*name, how).unwrap();
            zip.write_all(text).unwrap();
        }
    }
}

fn archive(entries: &[(&str, &[u8])], method: zip::CompressionMethod) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    fill(&mut zip, entries, SimpleFileOptions::default().compression_method(method));
    zip.finish().unwrap().into_inner()
}

fn read(packed: &[u8]) -> Result<(Packing, Vec<u8>), String> {
    let mut found = Vec::new();
    let mut unpacked = text_of(packed).map_err(|error| error.to_string())?;
    unpacked.read_to_end(&mut found).map_err(|error| error.to_string())?;
    Ok((unpacked.packing().clone(), found))
}

#[test]
fn the_text_is_the_same_however_it_is_packed() {
    let text = text();
    assert_eq!(read(&text).unwrap(), (Packing::Plain, text.clone()));
    assert_eq!(read(&gzip(&text)).unwrap(), (Packing::Gzip, text.clone()));
    let two = [gzip(&text[..1000]), gzip(&text[1000..])].concat();
    assert_eq!(read(&two).unwrap(), (Packing::Gzip, text.clone()), "two members are one text");
    let padded = [gzip(&text), vec![0; 70_000]].concat();
    assert_eq!(read(&padded).unwrap(), (Packing::Gzip, text.clone()), "zeros after it are nothing");
    let spoilt = [gzip(&text), b"\0\0more".to_vec()].concat();
    assert!(read(&spoilt).unwrap_err().contains("gzip data is damaged"));
    for method in [zip::CompressionMethod::Stored, zip::CompressionMethod::Deflated] {
        let entries =
            [("plates/", &b""[..]), ("plates/model.xml", b"<a/>"), ("plates/Lantern.GCODE", &text), ("b.g", b"M2")];
        let name = Packing::Zip("plates/Lantern.GCODE".to_owned());
        assert_eq!(read(&archive(&entries, method)).unwrap(), (name, text.clone()), "{method:?}");
        let name = Packing::Zip("lantern".to_owned());
        assert_eq!(read(&archive(&[("lantern", &text)], method)).unwrap(), (name, text.clone()), "{method:?}");
    }
}

#[test]
fn an_archive_written_to_a_pipe_is_read_too() {
    let text = text();
    let mut zip = ZipWriter::new_stream(Vec::new());
    let how = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
    for (name, text) in [("model.xml", &b"<a/>"[..]), ("lantern.gcode", &text)] {
        zip.start_file(name, how).unwrap();
        zip.write_all(text).unwrap();
    }
    let packed = zip.finish().unwrap().into_inner();
    assert_eq!(packed[6] & 8, 8, "its sizes stand behind the entries");
    assert_eq!(read(&packed).unwrap().1, text);
}

#[test]
fn what_is_wrong_with_a_damaged_one_is_told() {
    let text = text();
    let (gzip, zip) = (gzip(&text), archive(&[("lantern.gcode", &text)], zip::CompressionMethod::Deflated));
    assert_eq!(read(&gzip[..gzip.len() / 2]).unwrap_err(), "the gzip data is damaged: it ends too soon");
    assert!(read(&zip[..zip.len() / 2]).unwrap_err().starts_with("the zip data is damaged: "));
    for packed in [&gzip, &zip] {
        let mut changed = packed.clone();
        changed[packed.len() / 2] ^= 0x55;
        let error = read(&changed).unwrap_err();
        assert!(error.contains("data is damaged: "), "{error}");
    }
    let stored = archive(&[("lantern.gcode", &text)], zip::CompressionMethod::Stored);
    let mut changed = stored.clone();
    changed[5000] ^= 1;
    assert!(read(&changed).unwrap_err().contains("checksum or size does not fit"));
    let none = archive(&[], zip::CompressionMethod::Stored);
    assert!(read(&none).unwrap_err().contains("holds no job file"));
    let large = vec![b'a'; 5 << 20];
    assert!(read(&archive(&[("model.xml", &large)], zip::CompressionMethod::Deflated)).unwrap_err().contains("no job"));
    assert!(read(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR").unwrap_err().starts_with("is no text: byte 8 is zero"));
    assert_eq!(read(b"").unwrap().1, b"");
}
