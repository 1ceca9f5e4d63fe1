//! The potential against closed forms.

mod exact;
mod manufactured;
mod rubber;
mod saddles;
mod shapes;
