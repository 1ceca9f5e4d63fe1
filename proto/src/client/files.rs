//! Files of plans: pictures, scenes, words.

use tonic::Status;

use super::retry::Retries;
use super::{Client, ClientError};
use crate::v1;
use crate::v1::plan_file_part::Part;

/// A file of a plan as it came.
#[derive(Clone, Debug, PartialEq)]
pub struct File {
    /// What it is.
    pub file: v1::PlanFile,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

impl Client {
    /// The files that a plan has; `plan` is `plans/{id}`.
    pub async fn files(&self, plan: &str) -> Result<Vec<v1::PlanFile>, ClientError> {
        let (mut files, mut page_token) = (Vec::new(), String::new());
        loop {
            let asked = v1::ListPlanFilesRequest {
                parent: plan.to_owned(),
                page_token,
                ..Default::default()
            };
            let page = self.repeat(|mut calls| {
                let asked = asked.clone();
                async move { calls.list_plan_files(asked).await }
            });
            let page = page.await?;
            files.extend(page.files);
            page_token = page.next_page_token;
            if page_token.is_empty() {
                return Ok(files);
            }
        }
    }

    /// One file; `name` is `plans/{id}/files/{file}`. Asks again where the connection breaks or the server is
    /// busy: what is drawn of one plan is the same each time.
    pub async fn file(&self, name: &str) -> Result<File, ClientError> {
        let mut retries = Retries::new(self.backoff);
        loop {
            match self.file_once(name).await {
                Ok(file) => return Ok(file),
                Err(status) => retries.after(status).await?,
            }
        }
    }

    async fn file_once(&self, name: &str) -> Result<File, Status> {
        let asked = v1::GetPlanFileRequest { name: name.to_owned(), ..Default::default() };
        let mut parts = self.calls().get_plan_file(asked).await?.into_inner();
        let (mut file, mut bytes) = (None, Vec::new());
        while let Some(part) = parts.message().await? {
            match part.part {
                Some(Part::File(told)) => file = Some(told),
                Some(Part::Chunk(chunk)) => bytes.extend(chunk),
                None => {}
            }
        }
        let size = file.as_ref().and_then(|file| file.size_bytes);
        match file {
            Some(file) if size == Some(bytes.len() as u64) => Ok(File { file, bytes }),
            _ => Err(Status::unavailable("the stream closed before all of the file had come")),
        }
    }
}
