//! The potential against closed forms.

mod exact;
mod manufactured;
mod saddles;
mod shapes;
