//! Words that a field accepts, declared once: the enum, its words, and what each of them means.
//!
//! From one declaration follow the reader, the JSON Schema, the starting record, the words that rules know and
//! did-you-mean. What a word steers is a `match` over the enum, so that a new word is missed nowhere.

use super::FieldMeaning;

/// A field's words as an enum; made by `words!`.
pub trait Words: FieldMeaning + Copy + 'static {
    /// What a word of a record stands for.
    fn of_word(word: &str) -> Option<Self>;
}

/// Declares enums of words: `/// meaning` above `Variant = "word",`.
macro_rules! words {
    ($(
        $(#[doc = $about:literal])*
        $visible:vis enum $name:ident {
            $( $(#[doc = $word_about:literal])+ $variant:ident = $word:literal, )+
        }
    )+) => { $(
        $(#[doc = $about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        $visible enum $name {
            $( $(#[doc = $word_about])+ $variant, )+
        }

        impl $name {
            /// All of them, as declared.
            pub const ALL: [Self; [$($word),+].len()] = [ $( Self::$variant, )+ ];

            /// The words with their meaning.
            pub const WORDS: &'static [$crate::record::field::Word] = &[ $( $crate::record::field::Word {
                word: $word,
                about: concat!($($word_about),+).trim_ascii(),
            }, )+ ];

            /// The word for it.
            pub const fn word(self) -> &'static str {
                match self {
                    $( Self::$variant => $word, )+
                }
            }

            /// What a word stands for.
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.word() == word)
            }
        }

        impl $crate::record::field::FieldMeaning for $name {
            const KIND: $crate::record::field::Kind =
                $crate::record::field::Kind::Word(Self::WORDS);
        }

        impl $crate::record::Words for $name {
            fn of_word(word: &str) -> Option<Self> {
                Self::from_word(word)
            }
        }

        impl AsRef<str> for $name {
            fn as_ref(&self) -> &str {
                self.word()
            }
        }

        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                let about = concat!($($about),*).trim_ascii();
                schemars::json_schema!({ "type": "string", "description": about, "enum": [$($word),+] })
            }
        }

        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.word())
            }
        }
    )+ };
}
pub(crate) use words;
