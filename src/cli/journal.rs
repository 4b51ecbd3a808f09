//! The journal of a run: what is found, as it is found, in a file that is only ever added to.
//!
//! A line that names the format, then records: a marker, the record's number, its length and a
//! check of these, the bytes, and a check of number and bytes (SHA-256, cut short; those after
//! the first begin with the check of the first, so that records of another run do not pass). The
//! first record says what is searched; each other one is a finished round of starts. Whoever holds
//! the run holds a lock on this file, which the system lets go of when the process dies.

use anyhow::{Context, bail};
use sha2::{Digest, Sha256};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Read, Seek, SeekFrom, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Its name in a run folder.
pub(super) const NAME: &str = "journal";

/// The first line.
const FORMAT: &[u8] = b"pivotwright journal 2\n";

/// What every record begins with; no UTF-8 text holds it.
const MARKER: [u8; 4] = [0xf5, b'r', b'd', 0xff];

/// Marker, number, length and check of a record.
const HEAD: usize = 16;

/// Check at the end of a record.
const TAIL: usize = 8;

/// How long what is written may be only in the memory of the system.
const SYNC_EVERY: Duration = Duration::from_secs(1);

/// How long another process may take to let go of a journal.
const PATIENCE: Duration = Duration::from_secs(1);

type Check = [u8; TAIL];

/// An open journal; while it lives, no other process holds it.
#[derive(Debug)]
pub(super) struct Journal {
    file: File,
    path: PathBuf,
    /// Where the last whole record ends.
    end: u64,
    /// Records written.
    records: u32,
    run: Check,
    synced: Instant,
}

/// What a journal holds.
#[derive(Debug)]
pub(super) struct Contents {
    bytes: Vec<u8>,
    records: Vec<Range<usize>>,
    /// Where the last whole record ends; what follows was torn off while it was written.
    end: usize,
}

impl Contents {
    /// The first record, which says what is searched.
    pub fn header(&self) -> &[u8] {
        self.records
            .first()
            .map_or(&[], |range| &self.bytes[range.clone()])
    }

    /// The others: rounds of starts.
    pub fn rounds(&self) -> impl Iterator<Item = &[u8]> {
        self.records
            .iter()
            .skip(1)
            .map(|range| &self.bytes[range.clone()])
    }

    /// Bytes after the last whole record.
    pub fn torn(&self) -> usize {
        self.bytes.len() - self.end
    }
}

impl Journal {
    /// A new journal in `folder`, where there must be none, with the record that says what is
    /// searched.
    ///
    /// # Errors
    /// It cannot be written, or there is one.
    pub fn create(folder: &Path, header: &[u8]) -> anyhow::Result<Self> {
        let path = folder.join(NAME);
        let run = check(&[], 0, header);
        let mut bytes = FORMAT.to_vec();
        bytes.extend(framed(&[], 0, header));
        let write = || -> std::io::Result<File> {
            // Under its own name only once it is whole.
            let mut file = super::whole::named(folder)?;
            file.write_all(&bytes)?;
            file.as_file().sync_all()?;
            Ok(file.persist_noclobber(&path)?)
        };
        let file = write().with_context(|| format!("cannot write {}", path.display()))?;
        lock(&file, &path)?;
        Ok(Self {
            file,
            path,
            end: bytes.len() as u64,
            records: 1,
            run,
            synced: Instant::now(),
        })
    }

    /// Opens the journal in `folder` to go on with it. Nothing is altered: what is torn off at
    /// its end is cut by [`Self::cut`].
    ///
    /// # Errors
    /// There is none, another process holds it, or it is damaged.
    pub fn open(folder: &Path) -> anyhow::Result<(Self, Contents)> {
        let path = folder.join(NAME);
        let mut file = match OpenOptions::new().read(true).write(true).open(&path) {
            Ok(file) => file,
            Err(error) => return Err(unopened(folder, &path, error)),
        };
        lock(&file, &path)?;
        let contents = read(&mut file, &path)?;
        let journal = Self {
            end: contents.end as u64,
            records: u32::try_from(contents.records.len()).unwrap_or(u32::MAX),
            run: check(&[], 0, contents.header()),
            file,
            path,
            synced: Instant::now(),
        };
        Ok((journal, contents))
    }

    /// What the journal in `folder` holds. Whoever writes to it must be through.
    ///
    /// # Errors
    /// As of [`Self::open`], except that a folder that cannot be written to will do.
    pub fn look(folder: &Path) -> anyhow::Result<Contents> {
        let path = folder.join(NAME);
        let mut file = File::open(&path).map_err(|error| unopened(folder, &path, error))?;
        lock(&file, &path)?;
        read(&mut file, &path)
    }

    /// Cuts what follows the last whole record.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn cut(&mut self) -> anyhow::Result<()> {
        let end = self.end;
        let cut = self.file.set_len(end);
        cut.and_then(|()| self.file.sync_all())
            .with_context(|| format!("cannot write {}", self.path.display()))
    }

    /// Adds a record; it is on the disk a second later at most, if another follows.
    ///
    /// # Errors
    /// It cannot be written; the journal then still ends with a whole record, if that can be had.
    pub fn append(&mut self, record: &[u8]) -> anyhow::Result<()> {
        let bytes = framed(&self.run, self.records, record);
        let mut write = || -> std::io::Result<()> {
            self.file.seek(SeekFrom::Start(self.end))?;
            self.file.write_all(&bytes)?;
            if self.synced.elapsed() >= SYNC_EVERY {
                self.file.sync_data()?;
                self.synced = Instant::now();
            }
            Ok(())
        };
        if let Err(error) = write() {
            // What cannot be cut is taken for torn when the run goes on.
            let _ = self.file.set_len(self.end);
            return Err(error).with_context(|| format!("cannot write {}", self.path.display()));
        }
        self.end += bytes.len() as u64;
        self.records += 1;
        Ok(())
    }

    /// Sees to it that all of it is on the disk.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn sync(&mut self) -> anyhow::Result<()> {
        self.synced = Instant::now();
        self.file
            .sync_data()
            .with_context(|| format!("cannot write {}", self.path.display()))
    }
}

fn unopened(folder: &Path, path: &Path, error: std::io::Error) -> anyhow::Error {
    if error.kind() == ErrorKind::NotFound {
        return anyhow::anyhow!(
            "{}: found no {NAME} in it, expected the folder of a run (`search` makes one; it \
             begins its {NAME} before the first start)",
            folder.display()
        );
    }
    anyhow::Error::new(error).context(format!("cannot open {} to go on", path.display()))
}

/// Holds the file against other processes. One that was killed may take a moment to be gone.
fn lock(file: &File, path: &Path) -> anyhow::Result<()> {
    let begun = Instant::now();
    loop {
        match file.try_lock() {
            Ok(()) => return Ok(()),
            Err(TryLockError::WouldBlock) if begun.elapsed() < PATIENCE => {
                std::thread::sleep(PATIENCE / 20);
            }
            Err(TryLockError::WouldBlock) => bail!(
                "{}: another process is at work on this run; wait for it or end it first",
                path.display()
            ),
            Err(TryLockError::Error(error)) if error.kind() == ErrorKind::Unsupported => {
                super::warn(&format!(
                    "{}: this file system has no locks, so nothing keeps a second process off \
                     this run",
                    path.display()
                ));
                return Ok(());
            }
            Err(TryLockError::Error(error)) => {
                return Err(error).with_context(|| format!("cannot lock {}", path.display()));
            }
        }
    }
}

fn read(file: &mut File, path: &Path) -> anyhow::Result<Contents> {
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes)
        .with_context(|| format!("cannot read {}", path.display()))?;
    let shown = path.display();
    if !bytes.starts_with(FORMAT) {
        let line = bytes.split(|&byte| byte == b'\n').next().unwrap_or(&[]);
        let found = String::from_utf8_lossy(&line[..line.len().min(60)]).into_owned();
        bail!(
            "{shown}: found {found:?} as its first line, expected {:?}: a journal of another \
             version of this program, or none; it was left as it is",
            String::from_utf8_lossy(FORMAT.trim_ascii_end())
        );
    }
    let (records, end) = split(&bytes);
    if records.is_empty() {
        bail!("{shown}: found no whole first record: the journal is damaged; it was left as it is");
    }
    if sound_after(&bytes, end, records.len()) {
        bail!(
            "{shown}: damaged in the middle, at byte {end}, after {} whole records of which the \
             first says what is searched; it was left as it is. To go on from these, keep a copy \
             of the file and cut it there: truncate -s {end} {shown}",
            records.len()
        );
    }
    Ok(Contents {
        bytes,
        records,
        end,
    })
}

/// The whole records from the beginning, and where the last of them ends.
fn split(bytes: &[u8]) -> (Vec<Range<usize>>, usize) {
    let (mut records, mut end) = (Vec::new(), FORMAT.len());
    let mut run = Check::default();
    while let Some((number, range)) = record_at(bytes, end) {
        if number as usize != records.len() {
            break;
        }
        let key: &[u8] = if number == 0 { &[] } else { &run };
        let sum = check(key, number, &bytes[range.clone()]);
        if bytes[range.end..range.end + TAIL] != sum {
            break;
        }
        if number == 0 {
            run = sum;
        }
        end = range.end + TAIL;
        records.push(range);
    }
    (records, end)
}

/// Whether the head of another record than the next stands somewhere after the `records` that
/// end at `end`: then what is wrong there is no torn end.
fn sound_after(bytes: &[u8], end: usize, records: usize) -> bool {
    (end..bytes.len()).any(|at| {
        bytes[at..].starts_with(&MARKER)
            && head_at(bytes, at).is_some_and(|(number, _)| at > end || number as usize != records)
    })
}

/// Number and length that the head at `at` tells, if one stands there.
fn head_at(bytes: &[u8], at: usize) -> Option<(u32, usize)> {
    let head = bytes.get(at..at + HEAD)?;
    let [number, length] = [4, 8].map(|place| {
        let bytes = head[place..place + 4].try_into().unwrap_or_default();
        u32::from_le_bytes(bytes)
    });
    (head == self::head(number, length)).then_some((number, length as usize))
}

/// Number of the record whose head stands at `at`, and where its bytes are, if all are there.
fn record_at(bytes: &[u8], at: usize) -> Option<(u32, Range<usize>)> {
    let (number, length) = head_at(bytes, at)?;
    let range = at + HEAD..at + HEAD + length;
    (range.end + TAIL <= bytes.len()).then_some((number, range))
}

fn head(number: u32, length: u32) -> [u8; HEAD] {
    let mut head = [0; HEAD];
    head[..4].copy_from_slice(&MARKER);
    head[4..8].copy_from_slice(&number.to_le_bytes());
    head[8..12].copy_from_slice(&length.to_le_bytes());
    let sum = Sha256::digest(&head[..12]);
    head[12..].copy_from_slice(&sum[..4]);
    head
}

fn framed(key: &[u8], number: u32, record: &[u8]) -> Vec<u8> {
    let length = u32::try_from(record.len()).unwrap_or(u32::MAX);
    let mut bytes = head(number, length).to_vec();
    bytes.extend(record);
    bytes.extend(check(key, number, record));
    bytes
}

fn check(key: &[u8], number: u32, record: &[u8]) -> Check {
    let mut hash = Sha256::new();
    hash.update(key);
    hash.update(number.to_le_bytes());
    hash.update(record);
    let mut check = Check::default();
    check.copy_from_slice(&hash.finalize()[..TAIL]);
    check
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn journal(records: &[&[u8]]) -> (tempfile::TempDir, Vec<u8>) {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::create(folder.path(), b"what").unwrap();
        for record in records {
            journal.append(record).unwrap();
        }
        drop(journal);
        let bytes = fs::read(folder.path().join(NAME)).unwrap();
        (folder, bytes)
    }

    fn rounds(folder: &Path) -> anyhow::Result<Vec<Vec<u8>>> {
        let contents = Journal::look(folder)?;
        Ok(contents.rounds().map(<[u8]>::to_vec).collect())
    }

    #[test]
    fn cut_at_any_byte_of_its_last_record_it_holds_the_others_and_goes_on() {
        let records: [&[u8]; 3] = [b"one", b"", &[0xf5; 300]];
        let (folder, whole) = journal(&records);
        let path = folder.path().join(NAME);
        let last = whole.len() - 300 - HEAD - TAIL;
        for length in last..whole.len() {
            fs::write(&path, &whole[..length]).unwrap();
            let (mut journal, contents) = Journal::open(folder.path()).unwrap();
            assert_eq!(contents.torn(), length - last);
            assert_eq!(contents.rounds().count(), 2);
            assert_eq!(fs::metadata(&path).unwrap().len(), length as u64);
            journal.cut().unwrap();
            journal.append(records[2]).unwrap();
            drop(journal);
            assert_eq!(fs::read(&path).unwrap(), whole);
        }
        // A power cut may also leave zeros.
        let mut zeros = whole[..last].to_vec();
        zeros.extend([0; 500]);
        fs::write(&path, &zeros).unwrap();
        assert_eq!(rounds(folder.path()).unwrap().len(), 2);
    }

    #[test]
    fn a_changed_byte_before_the_last_record_is_refused_and_one_in_it_is_a_torn_end() {
        let records: [&[u8]; 3] = [b"one", b"second", b"the third"];
        let (folder, whole) = journal(&records);
        let path = folder.path().join(NAME);
        let last = whole.len() - b"the third".len() - HEAD - TAIL;
        for at in 0..whole.len() {
            let mut changed = whole.clone();
            changed[at] ^= 0x10;
            fs::write(&path, &changed).unwrap();
            let found = rounds(folder.path());
            if at < last {
                let message = format!("{:#}", found.unwrap_err());
                assert!(message.contains("left as it is"), "byte {at}: {message}");
            } else {
                assert_eq!(found.unwrap(), records[..2], "byte {at}");
            }
            assert_eq!(fs::read(&path).unwrap(), changed);
        }
    }

    #[test]
    fn records_that_are_missing_doubled_or_of_another_run_are_refused() {
        let (folder, whole) = journal(&[b"one", b"second", b"the third"]);
        let path = folder.path().join(NAME);
        let (ranges, _) = split(&whole);
        let record = |index: usize| &whole[ranges[index].start - HEAD..ranges[index].end + TAIL];
        let first = &whole[..ranges[0].end + TAIL];
        for orders in [vec![2, 3], vec![1, 3], vec![1, 1, 2, 3]] {
            let mut changed = first.to_vec();
            for index in &orders {
                changed.extend(record(*index));
            }
            fs::write(&path, &changed).unwrap();
            assert!(rounds(folder.path()).is_err(), "{orders:?}");
        }
        let other = tempfile::tempdir().unwrap();
        drop(Journal::create(other.path(), b"else").unwrap());
        let mut mixed = fs::read(other.path().join(NAME)).unwrap();
        mixed.extend(&whole[first.len()..]);
        fs::write(&path, &mixed).unwrap();
        assert!(rounds(folder.path()).is_err());
    }

    #[test]
    fn a_second_holder_is_refused_until_the_first_is_gone() {
        let (folder, _) = journal(&[b"one"]);
        let held = Journal::open(folder.path()).unwrap();
        let refused = Journal::open(folder.path()).unwrap_err();
        assert!(format!("{refused:#}").contains("another process"));
        drop(held);
        Journal::open(folder.path()).unwrap();
    }
}
