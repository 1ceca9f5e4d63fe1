//! A file in chunks.

use std::path::Path;

use tokio::fs::File;
use tokio::io::AsyncReadExt as _;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;

use super::{Client, ClientError, Refusal};
use crate::v1;
use crate::v1::upload_model_request::Part;

/// Bytes of one chunk; the server takes up to 1 MiB.
const CHUNK: usize = 512 << 10;

impl Client {
    /// Sends a file. The header's size is filled in. Not made again by itself: whether a broken
    /// upload arrived cannot be known, and a second one would make a second model.
    pub async fn upload_file(
        &self,
        path: &Path,
        header: v1::UploadHeader,
    ) -> Result<v1::Model, ClientError> {
        let fault = |error| ClientError::File { file: path.to_owned(), error };
        let mut file = File::open(path).await.map_err(fault)?;
        let size = file.metadata().await.map_err(fault)?.len();
        let header = v1::UploadHeader { size_bytes: Some(size), ..header };

        let (parts, sent) = mpsc::channel(2);
        // Reads as fast as the server takes it.
        let reading = tokio::spawn(async move {
            let part = |part| v1::UploadModelRequest { part: Some(part) };
            if parts.send(part(Part::Header(header))).await.is_err() {
                return Ok(());
            }
            loop {
                let mut chunk = Vec::with_capacity(CHUNK);
                (&mut file).take(CHUNK as u64).read_to_end(&mut chunk).await?;
                // Nobody takes more once the server has refused.
                if chunk.is_empty() || parts.send(part(Part::Chunk(chunk))).await.is_err() {
                    return Ok(());
                }
            }
        });
        let answer = self.calls().upload_model(ReceiverStream::new(sent)).await;
        match reading.await {
            // The server refused half a file; that it was half is the fault to tell.
            Ok(Err(error)) => Err(fault(error)),
            _ => Ok(answer.map_err(Refusal::from)?.into_inner()),
        }
    }
}
