//! Whether a photo is whole: decoded to its last pixel before it counts as evidence.
//!
//! The first half of a JPEG file shows half of a pack and looks like a picture to whoever only reads its beginning. What
//! cannot be decoded here (HEIC, camera raw, a picture that is too large) is not damaged for that: nothing can be told of
//! it.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::SystemTime;

use schemars::JsonSchema;
use serde::Serialize;

use super::name::safe_relative;
use super::picture::{PictureError, Undecodable, decode_whole};

/// What a look at a whole picture shows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "state", content = "why", rename_all = "kebab-case")]
pub enum PictureState {
    /// It is decoded to its last pixel.
    Whole,
    /// It is damaged or cut short.
    Damaged(String),
    /// It cannot be looked at here: it is not in the folder, or of a kind that is not decoded.
    NotSeen(String),
}

/// What tells a file from the one that was looked at before: path, size, time of change.
type Stamp = (PathBuf, u64, Option<SystemTime>);

/// Looks at pictures, at each only once: who asks for one that is being looked at waits for what is seen.
#[derive(Debug, Default)]
pub struct Looks(Mutex<HashMap<Stamp, Arc<OnceLock<PictureState>>>>);

impl Looks {
    /// Looks at a photo of an inspection folder.
    pub fn at(&self, folder: &Path, file: &str) -> PictureState {
        let path = match safe_relative(folder, file) {
            Ok(path) => path,
            Err(error) => return PictureState::NotSeen(error.to_string()),
        };
        let Ok(meta) = path.symlink_metadata() else {
            return PictureState::NotSeen("it is not in the folder".to_owned());
        };
        let stamp = (path, meta.len(), meta.modified().ok());
        let path = stamp.0.clone();
        let seen = {
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(all.entry(stamp).or_default())
        };
        seen.get_or_init(|| look_at(&path)).clone()
    }
}

fn look_at(path: &Path) -> PictureState {
    match decode_whole(path) {
        Ok(()) => PictureState::Whole,
        Err(PictureError::Undecodable { reason: reason @ Undecodable::Broken { .. }, .. }) => {
            PictureState::Damaged(reason.to_string())
        }
        Err(PictureError::Undecodable { reason, .. }) => PictureState::NotSeen(reason.to_string()),
        Err(PictureError::File(error)) => PictureState::NotSeen(error.without_path()),
        Err(error @ PictureError::Blackout { .. }) => PictureState::NotSeen(error.to_string()),
    }
}
