// What is chosen to be changed is said in full beside its field: in a narrow list its unit, bounds and present value are cut off.
for (const list of document.querySelectorAll("select[data-help]")) {
  const help = document.getElementById(list.dataset.help);
  const tell = () => { help.textContent = list.value && list.selectedOptions[0].textContent; };
  list.addEventListener("change", tell);
  tell();
}
