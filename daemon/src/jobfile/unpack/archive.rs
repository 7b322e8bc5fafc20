//! The entries of a zip archive one after the other, as they stand in it: their own headers say all that is needed, so
//! the table at the archive's end need not be there yet. Owns that format (APPNOTE 6.3, sections 4.3 to 4.5).

use super::{BufRead, Cursor, Read, Source, TEXT_BYTES_MAX, Text, UnpackFault, io};
use flate2::Crc;
use flate2::bufread::DeflateDecoder;

const LOCAL_HEADER: [u8; 4] = *b"PK\x03\x04";
const DESCRIPTOR: [u8; 4] = *b"PK\x07\x08";
const TABLE: [[u8; 4]; 3] = [*b"PK\x01\x02", *b"PK\x05\x06", *b"PK\x06\x06"];
const ENCRYPTED: u16 = 1;
const HAS_DESCRIPTOR: u16 = 1 << 3;
/// A size that stands in the extra field instead.
const ELSEWHERE: u32 = u32::MAX;
const LARGE_SIZES: u16 = 1;
const NAME_ENDINGS: [&str; 5] = [".gcode", ".gco", ".g", ".nc", ".ngc"];
/// The first file is kept up to this size while the others' names are asked, for the case that none is a job by name.
const HELD_MAX: u64 = 4 << 20;

/// The text of the first entry named as a job, else of the first file if it is small; and its name.
pub(super) fn job<R: Read>(mut source: Source<R>) -> io::Result<(String, Text<R>)> {
    let mut held = None;
    let mut skipped_max = TEXT_BYTES_MAX;
    while let Some(header) = Header::read(&mut source)? {
        let name = header.name.clone();
        let lower = name.to_ascii_lowercase();
        let is_job = NAME_ENDINGS.iter().any(|ending| lower.ends_with(ending));
        let mut entry = header.open(source)?;
        if is_job {
            return Ok((name, Text::Zip(Box::new(entry))));
        }
        if held.is_none() && !name.ends_with('/') {
            let mut text = Vec::new();
            entry.by_ref().take(HELD_MAX + 1).read_to_end(&mut text)?;
            held = Some((name, text));
        }
        // One byte more than may be tells that there is more.
        let limit = skipped_max + 1;
        skipped_max = skipped_max
            .checked_sub(io::copy(&mut entry.by_ref().take(limit), &mut io::sink())?)
            .ok_or(UnpackFault::TooLong)?;
        source = entry.into_source();
    }
    match held {
        Some((name, text)) if u64::try_from(text.len()).is_ok_and(|n| n <= HELD_MAX) => {
            Ok((name, Text::Held(Cursor::new(text))))
        }
        _ => Err(UnpackFault::NoJob.into()),
    }
}

/// What stands before an entry.
#[derive(Debug)]
struct Header {
    name: String,
    is_deflated: bool,
    /// Checksum, packed and unpacked size; `None` where they stand behind the entry.
    sums: Option<Sums>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Sums {
    crc: u32,
    packed: u64,
    unpacked: u64,
}

impl Header {
    /// The next one, or `None` where the entries end.
    fn read(source: &mut impl Read) -> io::Result<Option<Self>> {
        let signature = take::<4>(source)?;
        if TABLE.contains(&signature) {
            return Ok(None);
        }
        if signature != LOCAL_HEADER {
            return Err(damaged("no entry begins where one should"));
        }
        let [_, _, flags @ .., name_0, name_1, extra_0, extra_1] = take::<26>(source)?;
        let [flag_0, flag_1, way_0, way_1, _, _, _, _, sums @ ..] = flags;
        let (flags, way) = (u16::from_le_bytes([flag_0, flag_1]), u16::from_le_bytes([way_0, way_1]));
        let name = bytes(source, u16::from_le_bytes([name_0, name_1]))?;
        let extra = bytes(source, u16::from_le_bytes([extra_0, extra_1]))?;
        let name = String::from_utf8_lossy(&name).into_owned();
        let unknown = |how: &str| UnpackFault::Unknown { name: name.clone(), how: how.to_owned() };
        if flags & ENCRYPTED != 0 {
            return Err(unknown("encrypted").into());
        }
        let is_deflated = match way {
            0 => false,
            8 => true,
            other => return Err(unknown(&format!("packed by method {other}")).into()),
        };
        let has_descriptor = flags & HAS_DESCRIPTOR != 0;
        if has_descriptor && !is_deflated {
            return Err(unknown("stored without its size before it").into());
        }
        let sums = if has_descriptor { None } else { Some(Sums::read(sums, &extra)?) };
        Ok(Some(Self { name, is_deflated, sums }))
    }

    fn open<S: BufRead>(self, source: S) -> io::Result<Entry<S>> {
        let body = match self.sums {
            _ if self.is_deflated => Body::Deflated(DeflateDecoder::new(source)),
            Some(sums) => Body::Stored(source.take(sums.packed)),
            None => return Err(damaged("a stored entry has no size")),
        };
        Ok(Entry { body, told: self.sums, crc: Crc::new(), n_bytes: 0, is_done: false })
    }
}

impl Sums {
    fn read([c0, c1, c2, c3, p0, p1, p2, p3, u0, u1, u2, u3]: [u8; 12], mut extra: &[u8]) -> io::Result<Self> {
        let (packed, unpacked) = (u32::from_le_bytes([p0, p1, p2, p3]), u32::from_le_bytes([u0, u1, u2, u3]));
        let mut sums =
            Self { crc: u32::from_le_bytes([c0, c1, c2, c3]), packed: packed.into(), unpacked: unpacked.into() };
        let mut is_elsewhere = packed == ELSEWHERE || unpacked == ELSEWHERE;
        while is_elsewhere {
            let (id, n) = (u16::from_le_bytes(take(&mut extra)?), u16::from_le_bytes(take(&mut extra)?));
            let mut field = Cursor::new(bytes(&mut extra, n)?);
            if id == LARGE_SIZES {
                if unpacked == ELSEWHERE {
                    sums.unpacked = u64::from_le_bytes(take(&mut field)?);
                }
                if packed == ELSEWHERE {
                    sums.packed = u64::from_le_bytes(take(&mut field)?);
                }
                is_elsewhere = false;
            }
        }
        Ok(sums)
    }
}

/// An entry on its way out; its checksum is looked at when it ends.
#[derive(Debug)]
pub(super) struct Entry<S> {
    body: Body<S>,
    told: Option<Sums>,
    crc: Crc,
    n_bytes: u64,
    is_done: bool,
}

#[derive(Debug)]
enum Body<S> {
    Stored(io::Take<S>),
    Deflated(DeflateDecoder<S>),
}

impl<S: BufRead> Entry<S> {
    fn into_source(self) -> S {
        match self.body {
            Body::Stored(source) => source.into_inner(),
            Body::Deflated(source) => source.into_inner(),
        }
    }

    fn check(&mut self) -> io::Result<()> {
        let unpacked = self.n_bytes;
        let packed = match &self.body {
            Body::Stored(_) => unpacked,
            Body::Deflated(source) => source.total_in(),
        };
        let found = Sums { crc: self.crc.sum(), packed, unpacked };
        let told = match (self.told, &mut self.body) {
            (None, Body::Deflated(source)) => behind(source.get_mut(), found)?,
            (told, _) => told.unwrap_or(found),
        };
        if told == found { Ok(()) } else { Err(damaged("an entry's checksum or size does not fit it")) }
    }
}

impl<S: BufRead> Read for Entry<S> {
    fn read(&mut self, chunk: &mut [u8]) -> io::Result<usize> {
        if self.is_done || chunk.is_empty() {
            return Ok(0);
        }
        let n = match &mut self.body {
            Body::Stored(source) => source.read(chunk)?,
            Body::Deflated(source) => source.read(chunk)?,
        };
        self.crc.update(chunk.get(..n).unwrap_or_default());
        self.n_bytes += u64::try_from(n).unwrap_or(u64::MAX);
        if n == 0 {
            self.is_done = true;
            self.check()?;
        }
        Ok(n)
    }
}

/// The sums behind an entry. Whether they begin with a signature and how wide the sizes are is not said anywhere that
/// is reached by now: the sizes that were found tell.
fn behind(source: &mut impl BufRead, found: Sums) -> io::Result<Sums> {
    let mut first = take::<4>(source)?;
    if first == DESCRIPTOR {
        first = take(source)?;
    }
    let crc = u32::from_le_bytes(first);
    let sizes = take::<8>(source)?;
    let [p0, p1, p2, p3, u0, u1, u2, u3] = sizes;
    let small = |bytes| u64::from(u32::from_le_bytes(bytes));
    let (packed, unpacked) = (small([p0, p1, p2, p3]), small([u0, u1, u2, u3]));
    if (packed, unpacked) == (found.packed, found.unpacked) {
        return Ok(Sums { crc, packed, unpacked });
    }
    Ok(Sums { crc, packed: u64::from_le_bytes(sizes), unpacked: u64::from_le_bytes(take(source)?) })
}

fn take<const N: usize>(source: &mut impl Read) -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    source.read_exact(&mut bytes)?;
    Ok(bytes)
}

fn bytes(source: &mut impl Read, n: u16) -> io::Result<Vec<u8>> {
    let mut bytes = vec![0; usize::from(n)];
    source.read_exact(&mut bytes)?;
    Ok(bytes)
}

fn damaged(what: &str) -> io::Error {
    UnpackFault::Damaged { format: "zip", what: what.to_owned() }.into()
}
