//! Parts: the tables of the record, and the macro that declares them.
//!
//! One declaration makes the struct, the list of its fields (for rules, checklists and
//! did-you-mean), the reader and the JSON Schema, so that the four cannot drift apart.

pub(crate) mod reader;
pub(crate) mod schema;

use std::ops::Range;

use schemars::{Schema, SchemaGenerator};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::field::{Found, How, Kind};
pub use reader::Reader;
pub(crate) use reader::{SCHEMA, document, needed};

/// A field of a part, described.
#[derive(Debug, Clone, Copy)]
pub struct FieldInfo {
    /// Its key in the record.
    pub name: &'static str,
    /// What it is, one or two sentences.
    pub about: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// A right value, as written in the record.
    pub example: &'static str,
}

impl FieldInfo {
    /// What the lengths are called that a section or a size consists of; none of other fields.
    #[cfg(any(feature = "measuring", feature = "page"))]
    pub(crate) fn sides(&self) -> &'static [&'static str] {
        match self.kind {
            Kind::Section if matches!(self.name, "overlap" | "face") => &["length", "width"],
            Kind::Section => &["width", "thickness"],
            Kind::Size => &["length", "width", "height"],
            _ => &[],
        }
    }
}

/// A part inside a part, described.
#[derive(Debug, Clone, Copy)]
pub struct ChildInfo {
    /// Its key in the record.
    pub name: &'static str,
    pub about: &'static str,
    /// True for an array of tables, `[[name]]`.
    pub many: bool,
    pub shape: fn() -> Shape,
}

/// The shape of a part: its fields and the parts inside it.
#[derive(Debug, Clone, Copy)]
pub struct Shape {
    /// What the part is.
    pub about: &'static str,
    /// Fields that hold values.
    pub fields: &'static [FieldInfo],
    /// Parts inside.
    pub children: &'static [ChildInfo],
}

/// What every part may say of itself, and what holds for its plain values.
#[derive(Debug, Clone, Default)]
pub struct Own {
    /// Where the table stands in the file.
    pub span: Range<usize>,
    /// How its plain values came, unless they say otherwise.
    pub how: Option<How>,
    /// The instrument its measured plain values were taken with.
    pub with: Option<String>,
    /// Photos that show the part, by file name.
    pub photos: Vec<String>,
    /// True where photos are named that the record withholds.
    pub photos_withheld: bool,
    /// A remark in Markdown.
    pub note: Option<String>,
    /// Time in the video, `1:02:30`.
    pub video: Option<String>,
}

/// Keys that every part accepts besides its fields.
pub const COMMON_KEYS: &[(&str, &str)] = &[
    ("how", "How the plain values of this table came: claimed, marked, measured, seen or estimated"),
    ("with", "The id of the instrument the measured plain values of this table were taken with"),
    ("photos", "File names of photos that show this part"),
    ("note", "A remark, in Markdown"),
    ("video", "Time in the video at which the part is shown, such as 12:40 or 1:02:30"),
];

/// A table of the record.
pub trait Part: Default {
    /// The part's shape.
    const SHAPE: Shape;

    /// A field by its key.
    fn found(&self, name: &str) -> Option<&Found>;

    #[doc(hidden)]
    fn found_mut(&mut self, name: &str) -> Option<&mut Found>;

    #[doc(hidden)]
    fn read_child(&mut self, name: &str, value: &Spanned<DeValue<'_>>, reader: &mut Reader);

    /// What the part says of itself.
    fn own(&self) -> &Own;

    #[doc(hidden)]
    fn own_mut(&mut self) -> &mut Own;

    #[doc(hidden)]
    fn schema(generator: &mut SchemaGenerator) -> Schema;

    #[doc(hidden)]
    fn inside(&self, name: &str) -> Vec<&dyn AnyPart>;

    #[doc(hidden)]
    fn inner_mut(&mut self) -> Vec<Inner<'_>>;

    /// Called when the whole table has been read, to check what single fields cannot show.
    #[doc(hidden)]
    fn finish(&mut self, _table: &DeTable<'_>, _reader: &mut Reader) {}
}

/// A part inside a part whose type is not known.
pub struct Inner<'a> {
    /// Its key in the record.
    pub name: &'static str,
    /// Its place in an array of tables, counted from zero.
    pub index: Option<usize>,
    pub part: &'a mut dyn AnyPart,
}

/// A part whose type is not known, for work that goes over a whole record.
pub trait AnyPart {
    /// See [`Part::SHAPE`].
    fn shape(&self) -> Shape;

    /// See [`Part::found`].
    fn field(&self, name: &str) -> Option<&Found>;

    #[doc(hidden)]
    fn field_mut(&mut self, name: &str) -> Option<&mut Found>;

    /// See [`Part::own_mut`].
    fn own_of(&mut self) -> &mut Own;

    /// See [`Part::own`].
    fn said_of_itself(&self) -> &Own;

    /// The parts inside that stand under a key.
    fn under(&self, name: &str) -> Vec<&dyn AnyPart>;

    fn parts_inside(&mut self) -> Vec<Inner<'_>>;
}

impl<P: Part> AnyPart for P {
    fn shape(&self) -> Shape {
        P::SHAPE
    }

    fn field(&self, name: &str) -> Option<&Found> {
        self.found(name)
    }

    fn field_mut(&mut self, name: &str) -> Option<&mut Found> {
        self.found_mut(name)
    }

    fn own_of(&mut self) -> &mut Own {
        self.own_mut()
    }

    fn said_of_itself(&self) -> &Own {
        self.own()
    }

    fn under(&self, name: &str) -> Vec<&dyn AnyPart> {
        self.inside(name)
    }

    fn parts_inside(&mut self) -> Vec<Inner<'_>> {
        self.inner_mut()
    }
}

/// Declares a part. Fields are `name: Meaning = "example"`; parts inside follow `one` or `many`.
macro_rules! part {
    (
        $(#[doc = $about:literal])*
        pub struct $part:ident {
            $( $(#[doc = $field_about:literal])* $field:ident: $meaning:ty = $example:literal, )*
            $( ; one { $( $(#[doc = $one_about:literal])* $one:ident: $one_part:ty, )* } )?
            $( ; many { $( $(#[doc = $many_about:literal])* $many:ident: $many_part:ty, )* } )?
        }
        $( finish($self:ident, $table:ident, $reader:ident) $finish:block )?
    ) => {
        $(#[doc = $about])*
        #[derive(Debug, Clone, Default)]
        pub struct $part {
            /// What the part says of itself.
            pub own: $crate::record::Own,
            $( $(#[doc = $field_about])* pub $field: $crate::record::Entry<$meaning>, )*
            $( $( $(#[doc = $one_about])* pub $one: $one_part, )* )?
            $( $( $(#[doc = $many_about])* pub $many: Vec<$many_part>, )* )?
        }

        impl $crate::record::Part for $part {
            const SHAPE: $crate::record::Shape = $crate::record::Shape {
                about: concat!($($about),*),
                fields: &[ $( $crate::record::FieldInfo {
                    name: stringify!($field),
                    about: concat!($($field_about),*),
                    kind: <$meaning as $crate::record::field::FieldMeaning>::KIND,
                    example: $example,
                }, )* ],
                children: &[
                    $( $( $crate::record::ChildInfo {
                        name: stringify!($one),
                        about: concat!($($one_about),*),
                        many: false,
                        shape: || <$one_part as $crate::record::Part>::SHAPE,
                    }, )* )?
                    $( $( $crate::record::ChildInfo {
                        name: stringify!($many),
                        about: concat!($($many_about),*),
                        many: true,
                        shape: || <$many_part as $crate::record::Part>::SHAPE,
                    }, )* )?
                ],
            };

            fn found(&self, name: &str) -> Option<&$crate::record::field::Found> {
                match name {
                    $( stringify!($field) => Some(self.$field.found()), )*
                    _ => None,
                }
            }

            fn found_mut(&mut self, name: &str) -> Option<&mut $crate::record::field::Found> {
                match name {
                    $( stringify!($field) => Some(self.$field.found_mut()), )*
                    _ => None,
                }
            }

            #[allow(unused_variables, clippy::single_match)]
            fn read_child(
                &mut self,
                name: &str,
                value: &toml::Spanned<toml::de::DeValue<'_>>,
                reader: &mut $crate::record::part::Reader,
            ) {
                match name {
                    $( $( stringify!($one) => self.$one = reader.part(value), )* )?
                    $( $( stringify!($many) => self.$many = reader.parts(name, value), )* )?
                    _ => {}
                }
            }

            fn inside(&self, name: &str) -> Vec<&dyn $crate::record::AnyPart> {
                match name {
                    $( $( stringify!($one) => vec![&self.$one as &dyn $crate::record::AnyPart], )* )?
                    $( $( stringify!($many) => {
                        self.$many.iter().map(|part| part as &dyn $crate::record::AnyPart).collect()
                    } )* )?
                    _ => Vec::new(),
                }
            }

            #[allow(unused_mut, clippy::vec_init_then_push)]
            fn inner_mut(&mut self) -> Vec<$crate::record::part::Inner<'_>> {
                let mut inner = Vec::new();
                $( $( inner.push($crate::record::part::Inner {
                    name: stringify!($one),
                    index: None,
                    part: &mut self.$one,
                }); )* )?
                $( $( for (index, part) in self.$many.iter_mut().enumerate() {
                    inner.push($crate::record::part::Inner {
                        name: stringify!($many),
                        index: Some(index),
                        part,
                    });
                } )* )?
                inner
            }

            fn own(&self) -> &$crate::record::Own {
                &self.own
            }

            fn own_mut(&mut self) -> &mut $crate::record::Own {
                &mut self.own
            }

            fn schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
                $crate::record::part::schema::part_schema::<Self>(
                    generator,
                    &[
                        $( $( (stringify!($one), |g| g.subschema_for::<$crate::record::part::schema::Described<$one_part>>()), )* )?
                        $( $( (stringify!($many), |g| g.subschema_for::<Vec<$crate::record::part::schema::Described<$many_part>>>()), )* )?
                    ],
                )
            }

            $( fn finish(
                &mut $self,
                $table: &toml::de::DeTable<'_>,
                $reader: &mut $crate::record::part::Reader,
            ) $finish )?
        }
    };
}
pub(crate) use part;
