//! Where in a record: `claims.capacity`, `path.element[id=main-fuse].rating`, `cells.reading[3].voltage`.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

#[cfg(feature = "measuring")]
use crate::record::field::Value;
use crate::record::part::{AnyPart, COMMON_KEYS, FieldInfo, Part, Shape};
use crate::record::parts::Record;
use crate::units::words::hint;

/// Which part of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Pick {
    /// By its place in the list, counted from 0; written from 1.
    Index(usize),
    /// The first whose key has this value.
    Where {
        /// The key.
        key: String,
        /// Its value as text.
        is: String,
    },
}

/// One step on the way to a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlaceStep {
    /// The key.
    pub key: String,
    /// Which part, where the key is a list of parts.
    pub pick: Option<Pick>,
}

/// The way to a field, a part, or a list of parts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place(pub Vec<PlaceStep>);

/// There is no such place in a record.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{0}")]
pub struct NoSuchPlace(pub String);

impl Place {
    /// A place without picks, such as `claims`.
    pub fn keys(dotted: &str) -> Self {
        let step = |key: &str| PlaceStep { key: key.to_owned(), pick: None };
        Self(dotted.split('.').map(step).collect())
    }

    /// The place one key further in.
    pub fn then(mut self, key: &str) -> Self {
        self.0.push(PlaceStep { key: key.to_owned(), pick: None });
        self
    }

    /// The part at an index of this list.
    pub fn at(mut self, index: usize) -> Self {
        if let Some(last) = self.0.last_mut() {
            last.pick = Some(Pick::Index(index));
        }
        self
    }

    /// The parts of a record that it leads to: one, all of a list, or none.
    pub fn parts<'r>(&self, record: &'r Record) -> Vec<&'r dyn AnyPart> {
        let mut parts: Vec<&dyn AnyPart> = vec![record];
        for step in &self.0 {
            parts = parts.iter().flat_map(|part| part.under(&step.key)).collect();
            match &step.pick {
                None => {}
                Some(Pick::Index(index)) => parts = parts.get(*index).copied().into_iter().collect(),
                Some(Pick::Where { key, is }) => {
                    parts.retain(|part| part.field(key).is_some_and(|found| found.show() == *is));
                }
            }
        }
        parts
    }

    /// The same place by the ids of its parts, which stay when parts are moved or added.
    #[cfg(feature = "measuring")]
    pub(crate) fn by_id(mut self, record: &Record) -> Self {
        for at in 0..self.0.len() {
            let part = Self(self.0[..=at].to_vec()).parts(record).into_iter().next();
            let id = part.and_then(|part| part.field("id")?.value()).map(Value::show);
            if let (Some(Pick::Index(_)), Some(is)) = (&self.0[at].pick, id) {
                self.0[at].pick = Some(Pick::Where { key: "id".to_owned(), is });
            }
        }
        self
    }

    /// The part that holds this field, and the field's key.
    #[cfg(feature = "measuring")]
    pub(crate) fn owner(&self) -> (Self, &str) {
        let (way, key) = self.split();
        (Self(way.to_vec()), key)
    }

    /// The last key and the way to the part that holds it.
    pub(super) fn split(&self) -> (&[PlaceStep], &str) {
        match self.0.split_last() {
            Some((last, way)) => (way, &last.key),
            None => (&[], ""),
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, step) in self.0.iter().enumerate() {
            if number > 0 {
                f.write_str(".")?;
            }
            f.write_str(&step.key)?;
            match &step.pick {
                None => {}
                Some(Pick::Index(index)) => write!(f, "[{}]", index + 1)?,
                Some(Pick::Where { key, is }) => write!(f, "[{key}={is}]")?,
            }
        }
        Ok(())
    }
}

impl FromStr for Place {
    type Err = NoSuchPlace;

    fn from_str(text: &str) -> Result<Self, NoSuchPlace> {
        let wrong = || {
            NoSuchPlace(format!(
                "`{text}` is not a place in a record; for example: path.element[id=main-fuse].rating"
            ))
        };
        let mut steps = Vec::new();
        let mut rest = text.trim();
        loop {
            let end = rest.find(['.', '[']).unwrap_or(rest.len());
            let (key, after) = rest.split_at(end);
            if key.is_empty() || !key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_') {
                return Err(wrong());
            }
            let mut pick = None;
            rest = after;
            if let Some(inside) = rest.strip_prefix('[') {
                let close = inside.find(']').ok_or_else(wrong)?;
                let (chosen, after) = inside.split_at(close);
                pick = Some(match chosen.split_once('=') {
                    Some((key, is)) => Pick::Where { key: key.trim().to_owned(), is: is.trim().to_owned() },
                    None => {
                        let number: usize = chosen.trim().parse().map_err(|_| wrong())?;
                        Pick::Index(number.checked_sub(1).ok_or_else(wrong)?)
                    }
                });
                rest = after.strip_prefix(']').ok_or_else(wrong)?;
            }
            steps.push(PlaceStep { key: key.to_owned(), pick });
            if rest.is_empty() {
                return Ok(Self(steps));
            }
            rest = rest.strip_prefix('.').ok_or_else(wrong)?;
        }
    }
}

/// What a key of a part is.
#[derive(Debug, Clone, Copy)]
pub(super) enum Slot {
    Field(&'static FieldInfo),
    CommonText,
    /// The photos that every part has.
    CommonList,
}

/// What the last key of a place is.
pub(super) fn slot_of(place: &Place) -> Result<Slot, NoSuchPlace> {
    let (way, key) = place.split();
    if place.0.last().is_some_and(|step| step.pick.is_some()) {
        return Err(NoSuchPlace(format!("`{place}` is a part, not a field")));
    }
    slot_in(shape_at(way, place)?, key)
}

/// What a key is in a part of this shape.
pub(super) fn slot_in(shape: Shape, key: &str) -> Result<Slot, NoSuchPlace> {
    if let Some(info) = shape.fields.iter().find(|info| info.name == key) {
        return Ok(Slot::Field(info));
    }
    if COMMON_KEYS.iter().any(|(common, _)| *common == key) {
        return Ok(if key == "photos" { Slot::CommonList } else { Slot::CommonText });
    }
    let hint = hint(key, shape.fields.iter().map(|info| info.name));
    Err(NoSuchPlace(format!("there is no field `{key}` here{hint}")))
}

/// The shape of the parts of a list.
pub(super) fn list_shape(list: &Place) -> Result<Shape, NoSuchPlace> {
    let (way, key) = list.split();
    shape_at(way, list)?
        .children
        .iter()
        .find(|child| child.name == key && child.many)
        .map(|child| (child.shape)())
        .ok_or_else(|| NoSuchPlace(format!("`{list}` is no list of parts")))
}

fn shape_at(way: &[PlaceStep], place: &Place) -> Result<Shape, NoSuchPlace> {
    let mut shape = Record::SHAPE;
    for step in way {
        let child = shape.children.iter().find(|child| child.name == step.key);
        let Some(child) = child else {
            let hint = hint(&step.key, shape.children.iter().map(|child| child.name));
            return Err(NoSuchPlace(format!("`{place}`: there is no part `{}`{hint}", step.key)));
        };
        if child.many != step.pick.is_some() {
            return Err(NoSuchPlace(if child.many {
                format!("`{place}`: say which `{}`, such as {}[1]", step.key, step.key)
            } else {
                format!("`{place}`: there is only one `{}`", step.key)
            }));
        }
        shape = (child.shape)();
    }
    Ok(shape)
}
