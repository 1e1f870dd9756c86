// When somebody opens another room, the keys of this page are still the old room's: say so.
document.addEventListener("thirdstop:state", (event) => {
  const told = document.querySelector("[data-other-room]");
  if (told) told.hidden = String(event.detail.room.id) === document.body.dataset.room;
});
