//! `video-kit`: description, chapters, script, captions and still cards for a video.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, House};
use crate::render::video::{FOLDER, VideoKitError, Wishes, save_video_kit, video_kit};
use crate::render::write_up::View;
use crate::units::terminal::{self, plain};
use crate::units::words::{count, list};

#[derive(Debug, clap::Args)]
pub(super) struct VideoKit {
    /// The inspection folder
    folder: PathBuf,
    /// A second inspection, earlier or later: makes a card that sets the two side by side
    #[arg(long, value_name = "DIR")]
    against: Option<PathBuf>,
    /// Where viewers find the write-up, such as an address; its file name is given otherwise
    #[arg(long, value_name = "TEXT")]
    link: Option<String>,
    /// Also write description-N.txt with at most N characters, counted strictly: bytes of UTF-8, line ends as two; may be given several times, for example 1000, 2200, 5000
    #[arg(long = "limit", value_name = "N")]
    limits: Vec<usize>,
    /// Length of the video, such as 42:10: where its last chapter ends
    #[arg(long, value_name = "TIME")]
    length: Option<String>,
    /// A folder with card templates of your own: frame.svg, verdict.svg, path.svg, finding.svg, test.svg, claims.svg, against.svg, thumbnail.svg; what is missing there is taken from the program
    #[arg(long, value_name = "DIR")]
    templates: Option<PathBuf>,
    /// The folder to write into, instead of `video-kit` in the inspection folder
    #[arg(long, value_name = "DIR")]
    to: Option<PathBuf>,
    #[command(flatten)]
    house: House,
}

impl From<VideoKitError> for Failure {
    fn from(error: VideoKitError) -> Self {
        match error {
            VideoKitError::WriteUp(write_up) => write_up.into(),
            VideoKitError::Words(words) => Self::Words(words),
        }
    }
}

impl VideoKit {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let open = |folder: &PathBuf| self.house.open_to_publish(folder);
        let inspection = open(&self.folder)?;
        let against = self.against.as_ref().map(open).transpose()?;
        let wishes = Wishes {
            link: self.link.clone(),
            limits: self.limits.clone(),
            length: self.length.clone(),
            templates: super::settings::templates(self.templates.as_ref())?,
        };
        let made = video_kit(&inspection, against.as_ref(), &wishes)?;
        let target = self.to.clone().unwrap_or_else(|| inspection.folder.join(FOLDER));
        save_video_kit(&target, &made)?;
        let view = View::of(&inspection);
        let mut out = terminal::out();
        writeln!(out, "{}", plain(&view.verdict()))?;
        for words in &made.told {
            writeln!(out, "note: {}", plain(words))?;
        }
        let ending = |wanted: &str| made.files.iter().filter(|file| file.name.ends_with(wanted)).count();
        let cards = count(ending(".png"), "card", "cards");
        let photos = count(ending(".jpg"), "photo", "photos");
        let texts = made.files.iter().filter(|file| !file.name.contains('/'));
        let texts: Vec<&str> = texts.map(|file| file.name.as_str()).collect();
        for opened in std::iter::once(&inspection).chain(&against) {
            super::look_at(opened)?;
        }
        writeln!(out, "{}: {}; {cards} as SVG and PNG; {photos}", target.display(), list(&texts, "and"))?;
        Ok(if view.falls_short() { Done::FallsShort } else { Done::Well })
    }
}
