//! Closed lists of words. Each variant has one spelling, the one in the interchange contract.

/// Declares an enum whose variants are the words of the contract: `as_str`, `parse`, `ALL`, serde as text, and its schema
/// in the document of the API.
macro_rules! words {
    ($(#[$doc:meta])* pub enum $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub enum $name { $($(#[$vdoc])* $variant,)* }

        impl $name {
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            pub fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }

            pub fn parse(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)* _ => None }
            }

            /// The spellings, for a sentence: `dry, rain, snow`.
            pub fn spellings() -> String {
                Self::ALL.iter().map(|w| w.as_str()).collect::<Vec<_>>().join(", ")
            }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.as_str())
            }
        }
        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }
            fn schema_id() -> std::borrow::Cow<'static, str> {
                concat!(module_path!(), "::", stringify!($name)).into()
            }
            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                let words: Vec<_> = Self::ALL.iter().map(|word| word.as_str()).collect();
                schemars::json_schema!({ "type": "string", "enum": words })
            }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                // Packed histories hold the variant's place, JSON its word; the order of variants is
                // therefore part of the projections' schema hash, see `desk::schema`.
                if to.is_human_readable() { to.serialize_str(self.as_str()) } else { to.serialize_u8(*self as u8) }
            }
        }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                use serde::de::Error as _;
                if from.is_human_readable() {
                    let word = std::borrow::Cow::<'de, str>::deserialize(from)?;
                    Self::parse(&word).ok_or_else(|| D::Error::custom(format!("{word:?} is none of {}", Self::spellings())))
                } else {
                    let place = u8::deserialize(from)?;
                    Self::ALL.get(usize::from(place)).copied().ok_or_else(|| D::Error::custom("no such variant"))
                }
            }
        }
    };
}
pub(crate) use words;
