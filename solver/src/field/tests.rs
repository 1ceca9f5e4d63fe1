//! The potential against closed forms.

mod exact;
mod manufactured;
mod morse;
mod rubber;
mod saddles;
mod shapes;
