//! Reads ahead: chunks are parsed by other threads while the samples before them are used.
//!
//! Chunks come back in the order of the file, so the outcome is the same with any number of threads. Few
//! are under way at once, so that memory stays small. A short log is not worth a thread, and where many logs are read at
//! once each has one already.

use std::collections::VecDeque;
use std::io::{self, Read};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, sync_channel};

use super::chunk::{Chunk, Chunks};
use super::parse::{Parsed, RowParser};

/// Chunks that are read before others are parsed beside them.
const ALONE: u32 = 4;
/// Threads that parse at most: reading and using the samples keep up with no more.
const THREADS: usize = 4;

/// A chunk and its rows.
#[derive(Default)]
pub(super) struct Work {
    chunk: Chunk,
    pub parsed: Parsed,
}

/// The chunks of a file, parsed.
pub(super) struct Ahead<R> {
    chunks: Chunks<R>,
    parser: Arc<RowParser>,
    /// Lines that are passed over at the beginning of the file.
    skip: u64,
    passed: u64,
    alone: u32,
    waiting: VecDeque<Receiver<Work>>,
    spare: Vec<Work>,
    ended: bool,
}

impl<R: Read> Ahead<R> {
    /// Passes over the first `skip` lines and parses the others.
    pub fn new(source: R, parser: RowParser, skip: u64) -> io::Result<Self> {
        Ok(Self {
            chunks: Chunks::new(source)?,
            parser: Arc::new(parser),
            skip,
            passed: 0,
            alone: 0,
            waiting: VecDeque::new(),
            spare: Vec::new(),
            ended: false,
        })
    }

    /// The next chunk of the file with its rows.
    pub fn next(&mut self) -> io::Result<Option<Work>> {
        if self.alone < ALONE || self.passed < self.skip || rayon::current_thread_index().is_some() {
            self.alone += 1;
            let Some(mut work) = self.read()? else {
                return Ok(None);
            };
            let skip = u32::try_from(self.skip.saturating_sub(self.passed)).unwrap_or(u32::MAX);
            self.parser.parse(&work.chunk, skip, &mut work.parsed);
            self.passed += u64::from(work.parsed.lines);
            return Ok(Some(work));
        }
        while !self.ended && self.waiting.len() < 2 * rayon::current_num_threads().min(THREADS) {
            match self.read()? {
                Some(work) => self.send(work),
                None => self.ended = true,
            }
        }
        let stopped = |_| io::Error::other("a thread that parses rows has stopped");
        self.waiting.pop_front().map(|first| first.recv().map_err(stopped)).transpose()
    }

    /// Gives the memory of a chunk back.
    pub fn done(&mut self, work: Work) {
        self.spare.push(work);
    }

    fn read(&mut self) -> io::Result<Option<Work>> {
        let mut work = self.spare.pop().unwrap_or_default();
        Ok(self.chunks.next(&mut work.chunk)?.then_some(work))
    }

    fn send(&mut self, mut work: Work) {
        let (reply, answer) = sync_channel(1);
        self.waiting.push_back(answer);
        let parser = Arc::clone(&self.parser);
        rayon::spawn(move || {
            parser.parse(&work.chunk, 0, &mut work.parsed);
            // Nobody waits for it when the reader was dropped.
            let _ = reply.send(work);
        });
    }
}
