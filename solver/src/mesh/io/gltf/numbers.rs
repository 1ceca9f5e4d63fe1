//! Accessors: numbers in the buffers, one look at their bounds and then one by one.

use gltf_json::accessor::{ComponentType, Type};
use gltf_json::buffer::View;
use gltf_json::validation::Checked::Valid;
use gltf_json::{Accessor, Index};

use super::{File, malformed};
use crate::mesh::io::ReadError;

/// Numbers of an accessor.
pub(super) struct Numbers<'a> {
    base: Run<'a>,
    pub count: usize,
    normalized: bool,
    /// Places with other numbers, ascending, and these.
    sparse: Option<(Vec<u32>, Run<'a>)>,
}

/// Items in a buffer, all of them within it.
struct Run<'a> {
    bytes: &'a [u8],
    stride: usize,
    component: ComponentType,
}

impl Run<'_> {
    fn number(&self, item: usize, part: usize, normalized: bool) -> f64 {
        let at = item * self.stride + part * self.component.size();
        let byte = |k: usize| self.bytes.get(at + k).copied().unwrap_or_default();
        let two = [byte(0), byte(1)];
        let four = [byte(0), byte(1), byte(2), byte(3)];
        let (number, full) = match self.component {
            ComponentType::I8 => (f64::from(byte(0) as i8), 127.0),
            ComponentType::U8 => (f64::from(byte(0)), 255.0),
            ComponentType::I16 => (f64::from(i16::from_le_bytes(two)), 32767.0),
            ComponentType::U16 => (f64::from(u16::from_le_bytes(two)), 65535.0),
            ComponentType::U32 => (f64::from(u32::from_le_bytes(four)), 4_294_967_295.0),
            ComponentType::F32 => return f64::from(f32::from_le_bytes(four)),
        };
        // Section 3.6.2.2.
        if normalized { (number / full).max(-1.0) } else { number }
    }
}

impl<'a> Numbers<'a> {
    /// Opens an accessor of one of these types with `most` items at most. `what` is told in faults.
    pub fn open(
        file: &'a File<'a>,
        index: Index<Accessor>,
        what: &str,
        types: &[Type],
        most: u64,
    ) -> Result<Self, ReadError> {
        let broken = |reason: &str| malformed(format!("in its {what}"), reason);
        let accessor: &Accessor = file
            .root
            .get(index)
            .ok_or_else(|| broken("the accessor that is named is not there"))?;
        let (Valid(component), Valid(kind)) = (accessor.component_type, accessor.type_) else {
            return Err(broken("its accessor has a type that glTF does not know"));
        };
        let component = component.0;
        if !types.contains(&kind) {
            return Err(broken(&format!("its accessor holds {kind:?} in place of {:?}", types[0])));
        }
        let size = kind.multiplicity() * component.size();
        let claimed = accessor.count.0;
        if claimed == 0 || claimed > most {
            return Err(broken(&format!(
                "its accessor has {claimed} items, 1 to {most} are possible"
            )));
        }
        let count = claimed as usize;
        // Zeros of any number could be claimed.
        let view = accessor
            .buffer_view
            .ok_or_else(|| broken("its accessor has no buffer: export it without sparse data"))?;
        let from = accessor.byte_offset.unwrap_or_default().0;
        let base = run(file, view, from, component, size, claimed).map_err(|why| broken(&why))?;
        let sparse = match &accessor.sparse {
            None => None,
            Some(sparse) => {
                let few = sparse.count.0;
                let Valid(own) = sparse.indices.component_type else {
                    return Err(broken("its sparse indices have a type that glTF does not know"));
                };
                if few == 0 || few > claimed {
                    return Err(broken("its accessor has more sparse items than items"));
                }
                let at = &sparse.indices;
                let own = own.0;
                let places = run(file, at.buffer_view, at.byte_offset.0, own, own.size(), few)
                    .map_err(|why| broken(&why))?;
                let values = &sparse.values;
                let values =
                    run(file, values.buffer_view, values.byte_offset.0, component, size, few)
                        .map_err(|why| broken(&why))?;
                let places: Vec<u32> =
                    (0..few as usize).map(|k| places.number(k, 0, false) as u32).collect();
                let last = places.last().copied().unwrap_or_default();
                if !places.is_sorted_by(|a, b| a < b) || last as usize >= count {
                    return Err(broken("its sparse indices do not ascend, or go beyond its items"));
                }
                Some((places, values))
            }
        };
        Ok(Self { base, count, normalized: accessor.normalized, sparse })
    }

    /// One number of an item.
    pub fn number(&self, item: usize, part: usize) -> f64 {
        if let Some((places, values)) = &self.sparse
            && let Ok(own) = places.binary_search(&(item as u32))
        {
            return values.number(own, part, self.normalized);
        }
        self.base.number(item, part, self.normalized)
    }

    /// The first numbers of an item.
    pub fn item<const N: usize>(&self, item: usize) -> [f64; N] {
        std::array::from_fn(|part| self.number(item, part))
    }
}

/// `count` items of `size` bytes each from `from` bytes into a view on.
fn run<'a>(
    file: &'a File<'a>,
    view: Index<View>,
    from: u64,
    component: ComponentType,
    size: usize,
    count: u64,
) -> Result<Run<'a>, String> {
    let stride = file.root.get(view).and_then(|view| view.byte_stride).map(|stride| stride.0);
    let stride = stride.unwrap_or(size);
    if stride < size {
        return Err(format!("its items of {size} bytes lie {stride} bytes apart"));
    }
    let bytes = bytes_of(file, view)?;
    let needed = (count - 1).checked_mul(stride as u64).and_then(|n| n.checked_add(size as u64));
    let end = needed.and_then(|needed| needed.checked_add(from));
    let fits = end.filter(|end| *end <= bytes.len() as u64);
    let Some(end) = fits else {
        return Err(format!("its {count} items go beyond the {} bytes of its view", bytes.len()));
    };
    Ok(Run { bytes: &bytes[from as usize..end as usize], stride, component })
}

/// The bytes of a view, or in words why there are none.
pub(super) fn bytes_of<'a>(file: &'a File<'a>, view: Index<View>) -> Result<&'a [u8], String> {
    let view: &View = file.root.get(view).ok_or("the view that is named is not there")?;
    let buffer = file.buffers.get(view.buffer.value());
    let buffer = buffer.ok_or("the buffer that is named is not there")?;
    let buffer = buffer.as_ref().map_err(|why| format!("its buffer cannot be read: {why}"))?;
    let from = view.byte_offset.unwrap_or_default().0;
    let end = from.checked_add(view.byte_length.0).filter(|end| *end <= buffer.len() as u64);
    let end =
        end.ok_or_else(|| format!("its view goes beyond the {} bytes there", buffer.len()))?;
    Ok(&buffer[from as usize..end as usize])
}
