// Photos go out as soon as they are taken, made smaller where that loses nothing: reading needs four megapixels.
const ENOUGH = 4.2e6;
const form = document.getElementById("shoot");
const told = form.querySelector(".told"), bar = form.querySelector("progress");

for (const input of form.querySelectorAll("input[type=file]")) {
  input.addEventListener("change", () => { if (input.files.length) send([...input.files], input); });
}

async function send(files, input) {
  told.textContent = form.dataset.sending;
  bar.hidden = false;
  bar.value = 0;
  const body = new FormData();
  body.append("token", form.elements.token.value);
  if (form.elements.building.checked) body.append("building", "yes");
  for (const file of files) body.append("photo", await smaller(file), "photo.jpg");
  input.value = "";
  const request = new XMLHttpRequest();
  request.open("POST", form.action);
  request.setRequestHeader("x-sent-by", "script");
  request.upload.addEventListener("progress", e => { if (e.lengthComputable) bar.value = e.loaded / e.total; });
  request.addEventListener("load", () => {
    bar.hidden = true;
    if (request.status === 200) {
      told.textContent = form.dataset.sent;
      dispatchEvent(new Event("sent"));
    } else {
      told.textContent = wordsOf(request) || form.dataset.lost;
    }
  });
  request.addEventListener("error", () => { bar.hidden = true; told.textContent = form.dataset.lost; });
  request.send(body);
}

function wordsOf(request) {
  try { return JSON.parse(request.responseText).words; } catch { return ""; }
}

// The photo upright and of at most ENOUGH pixels; as it is where the browser cannot open it.
async function smaller(file) {
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.sqrt(ENOUGH / (picture.width * picture.height));
    if (scale >= 1 && file.size < 4e6 && file.type === "image/jpeg") return file;
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * Math.min(1, scale));
    canvas.height = Math.round(picture.height * Math.min(1, scale));
    const pen = canvas.getContext("2d");
    pen.imageSmoothingQuality = "high";
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    return await new Promise(done => canvas.toBlob(blob => done(blob || file), "image/jpeg", 0.92));
  } catch {
    return file;
  }
}

addEventListener("renewed", () => {
  if (!document.querySelector(".waits")) told.textContent = "";
  if (document.querySelector("main .verdict")) form.querySelector(".take label").textContent = form.dataset.again;
});
