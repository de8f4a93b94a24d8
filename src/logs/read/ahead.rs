//! Reads ahead: chunks are parsed by other threads while the samples before them are used.
//!
//! Chunks come back in the order of the file, so the outcome is the same with any number of threads. Few
//! are under way at once, so that memory stays small. A short log is not worth a thread, and where none
//! can be had the caller's does all the work; it also does while it would have to wait.

use std::collections::VecDeque;
use std::io::{self, Read};
use std::sync::mpsc::{Receiver, Sender, SyncSender, TryRecvError, channel, sync_channel};
use std::sync::{Arc, Mutex, TryLockError};
use std::thread;

use super::chunk::{Chunk, Chunks};
use super::parse::{Parsed, RowParser};

/// Chunks that are read before threads are started.
const ALONE: u32 = 4;
/// Threads beside the caller's at most: reading and using the samples keep up with no more.
const THREADS: usize = 3;

/// A chunk and its rows.
#[derive(Default)]
pub(super) struct Work {
    chunk: Chunk,
    /// Its rows.
    pub parsed: Parsed,
}

struct Job {
    work: Work,
    skip: u32,
    reply: SyncSender<Work>,
}

impl Job {
    fn run(mut self, parser: &RowParser) {
        parser.parse(&self.work.chunk, self.skip, &mut self.work.parsed);
        // Nobody waits for it when the reader was dropped.
        let _ = self.reply.send(self.work);
    }
}

/// The chunks of a file, parsed.
pub(super) struct Ahead<R> {
    chunks: Chunks<R>,
    parser: Arc<RowParser>,
    /// Lines that are passed over at the beginning of the file.
    skip: u64,
    passed: u64,
    alone: u32,
    jobs: Option<Sender<Job>>,
    queue: Arc<Mutex<Receiver<Job>>>,
    threads: usize,
    waiting: VecDeque<Receiver<Work>>,
    spare: Vec<Work>,
    ended: bool,
    failed: Option<io::Error>,
}

impl<R: Read> Ahead<R> {
    /// Passes over the first `skip` lines and parses the others.
    pub fn new(source: R, parser: RowParser, skip: u64) -> io::Result<Self> {
        let (jobs, queue) = channel();
        Ok(Self {
            chunks: Chunks::new(source)?,
            parser: Arc::new(parser),
            skip,
            passed: 0,
            alone: 0,
            jobs: Some(jobs),
            queue: Arc::new(Mutex::new(queue)),
            threads: 0,
            waiting: VecDeque::new(),
            spare: Vec::new(),
            ended: false,
            failed: None,
        })
    }

    /// The next chunk of the file with its rows.
    pub fn next(&mut self) -> io::Result<Option<Work>> {
        if self.alone < ALONE || (self.passed < self.skip && self.waiting.is_empty()) {
            self.alone = (self.alone + 1).min(ALONE);
            let Some(mut work) = self.read()? else {
                return Ok(None);
            };
            let skip = u32::try_from(self.skip.saturating_sub(self.passed)).unwrap_or(u32::MAX);
            self.parser.parse(&work.chunk, skip, &mut work.parsed);
            self.passed += u64::from(work.parsed.lines);
            return Ok(Some(work));
        }
        if self.alone == ALONE {
            self.alone = ALONE + 1;
            self.start_threads();
        }
        while !self.ended && self.waiting.len() < 2 * self.threads + 1 {
            match self.read() {
                Ok(Some(work)) => self.send(work),
                Ok(None) => self.ended = true,
                Err(error) => {
                    self.ended = true;
                    self.failed = Some(error);
                }
            }
        }
        let Some(first) = self.waiting.pop_front() else {
            return self.failed.take().map_or(Ok(None), Err);
        };
        loop {
            match first.try_recv() {
                Ok(work) => return Ok(Some(work)),
                Err(TryRecvError::Disconnected) => return Err(stopped()),
                Err(TryRecvError::Empty) => {}
            }
            // Rather than wait, parse what no thread has begun.
            let job = match self.queue.try_lock() {
                Ok(queue) => queue.try_recv().ok(),
                Err(TryLockError::WouldBlock | TryLockError::Poisoned(_)) => None,
            };
            match job {
                Some(job) => job.run(&self.parser),
                None => return first.recv().map(Some).map_err(|_| stopped()),
            }
        }
    }

    /// Gives the memory of a chunk back.
    pub fn done(&mut self, work: Work) {
        self.spare.push(work);
    }

    fn read(&mut self) -> io::Result<Option<Work>> {
        let mut work = self.spare.pop().unwrap_or_default();
        Ok(self.chunks.next(&mut work.chunk)?.then_some(work))
    }

    fn send(&mut self, work: Work) {
        let (reply, answer) = sync_channel(1);
        self.waiting.push_back(answer);
        // The queue lives as long as this reader, so it takes every job.
        if let Some(jobs) = &self.jobs {
            let _ = jobs.send(Job { work, skip: 0, reply });
        }
    }

    fn start_threads(&mut self) {
        let wanted = thread::available_parallelism().map_or(0, |count| count.get() - 1).min(THREADS);
        for _ in 0..wanted {
            let (queue, parser) = (Arc::clone(&self.queue), Arc::clone(&self.parser));
            let begun = thread::Builder::new().name("log rows".to_owned()).spawn(move || {
                loop {
                    // The lock is held only until a job comes, and given back before it is run.
                    let job = queue.lock().map(|queue| queue.recv());
                    match job {
                        Ok(Ok(job)) => job.run(&parser),
                        _ => return,
                    }
                }
            });
            self.threads += usize::from(begun.is_ok());
        }
    }
}

fn stopped() -> io::Error {
    io::Error::other("a thread that parses rows has stopped")
}

impl<R> Drop for Ahead<R> {
    fn drop(&mut self) {
        // Threads end when no job can come any more.
        self.jobs = None;
    }
}
