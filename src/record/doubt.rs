//! Why a value of the record is not taken as it stands. Who judges the record finds it; it travels with the value.

/// Why a value is not taken as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Hash, serde::Serialize, schemars::JsonSchema)]
pub struct Doubt {
    /// The field by its name in expressions.
    pub name: String,
    /// What is odd about it, as a person would say it.
    pub what: String,
    /// What was probably meant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub meant: Option<String>,
    /// True where the value lies outside its plausible range, or is what somebody only claims of a test: no rule passes or
    /// falls short on it. False where it and another one contradict each other, and for a guess: that takes "meets" away.
    pub implausible: bool,
}
