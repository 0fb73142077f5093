// Moments in the browser's own zone, named. Without this script they stand in the zone of the machine that serves the page.
const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");
// Which zones have a short name is a matter of the country; elsewhere they are called by their distance to UTC.
const ZONES = ["en-US", "en-GB", "en-AU", "en-IN", "en-ZA"].map((country) => new Intl.DateTimeFormat(country, { timeZoneName: "short" }));

function words(moment) {
  const names = ZONES.map((zone) => zone.formatToParts(moment).find((part) => part.type === "timeZoneName").value);
  const name = names.find((one) => /^[A-Z]{2,5}$/.test(one)) ?? names[0].replace("GMT", "UTC");
  const [hours, minutes] = [moment.getHours(), moment.getMinutes()].map((number) => String(number).padStart(2, "0"));
  return `${moment.getDate()} ${MONTHS[moment.getMonth()]} ${moment.getFullYear()}, ${hours}:${minutes} ${name}`;
}

export function localise(part) {
  for (const place of part.querySelectorAll("time[datetime]")) {
    const moment = new Date(place.dateTime);
    if (Number.isNaN(moment.getTime())) continue;
    const [served, here] = [place.textContent, words(moment)];
    place.textContent = here;
    document.title = document.title.replace(served, here);
  }
}

localise(document);
