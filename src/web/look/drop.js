// A file dropped onto a text area becomes its text. Without this script the text
// is pasted.
for (const area of document.querySelectorAll('textarea[data-drop]')) {
  area.addEventListener('dragover', (event) => event.preventDefault());
  area.addEventListener('drop', async (event) => {
    const file = event.dataTransfer?.files?.[0];
    if (!file) return;
    event.preventDefault();
    area.value = await file.text();
    const name = document.getElementById(area.dataset.drop);
    if (name) name.value = file.name;
  });
}
