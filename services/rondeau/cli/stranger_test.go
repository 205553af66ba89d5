package cli

import (
	"encoding/json"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The people of the week, all invented.
const (
	nora = "manager nora"
	ada  = "cook ada"
	ezra = "receiver ezra"
	lena = "outlet/corner-bistro lena"
	iris = "safety-lead iris"
	paul = "safety-lead paul"
	june = "auditor june"
)

// A stranger who has the help texts alone works through a week of the imported kitchen, in each of the six roles, and
// makes every mistake that people make. A refusal says what to do, and changes nothing.
func TestAStrangersWeek(t *testing.T) {
	w := startWeek(t, "2027-03-01 06:00")
	w.does(nora, "created", "import", filepath.Join("..", "demo", "quayside.yaml"))
	w.ordering()
	w.planning()
	w.receiving()
	stock := w.first(nora, "batch", `formula_version = "sites/quayside/formulas/chicken-stock/versions/1"`)
	packing := w.first(nora, "batch", `product = "sites/quayside/products/chicken-stock-2500g"`)
	w.cooking(stock)
	w.chilling(stock)
	bulk := w.booking(stock)
	lot, container := w.packing(packing, bulk)
	w.holding(lot, container)
	w.shipping(container)
	w.proving(stock, container)
}

func (w *week) ordering() {
	w.does(nora, "The Bench|friday", "outlet", "add", "bench", "display_name=The Bench", "dispatch_weekdays=[friday]", "dispatch_time_of_day=07:00")
	w.refusing(func() {
		w.refuses(nora, "outlet bench exists already", "outlet", "add", "bench", "display_name=B", "dispatch_weekdays=[friday]", "dispatch_time_of_day=07:00")
		w.refuses(nora, "time of day|06:30", "outlet", "add", "stall", "display_name=S", "dispatch_weekdays=[friday]", "dispatch_time_of_day=7")
		w.refuses(nora, "monday, tuesday", "outlet", "add", "stall", "display_name=S", "dispatch_weekdays=[frixday]")
		w.refuses(nora, "no outlet nowhere|outlet list", "outlet", "change", "nowhere", "dispatch_time_of_day=07:00")
		w.refuses(lena, "it is for: manager|--as", "outlet", "add", "stall", "display_name=S", "dispatch_weekdays=[friday]", "dispatch_time_of_day=07:00")
		w.refuses(nora, "outlet nowhere does not exist", "outlet", "show", "nowhere")
	})
	w.does(lena, "promised  0 packs|Wed 2027-03-03 18:30", "available", "corner-bistro", "chicken-stock-2500g", "2027-03-05")
	place := []string{"order", "place", "corner-bistro", "2027-03-05", "chicken-stock-2500g=20", "--id", "o-1", "--request-id", "r-1"}
	w.does(lena, "placed|Wed 2027-03-03 18:30|Fri 2027-03-05 06:30", place...)
	w.refusing(func() {
		w.does(lena, "placed", place...) // sent again
		w.refuses(lena, "used before for another CreateOrder", "order", "place", "corner-bistro", "2027-03-05", "chicken-stock-2500g=21", "--id", "o-1", "--request-id", "r-1")
		w.refuses(lena, "order corner-bistro/o-1 exists already", "order", "place", "corner-bistro", "2027-03-05", "demi-1kg=1", "--id", "o-1")
		w.refuses(lena, "line 1, container count: must be from 1 to 100000", "order", "place", "corner-bistro", "2027-03-05", "demi-1kg=-3")
		w.refuses(lena, "product demi-9kg does not exist", "order", "place", "corner-bistro", "2027-03-05", "demi-9kg=1")
		w.refuses(lena, "no dispatch on Thursday|next dispatch day open is Wednesday 2027-03-03", "order", "place", "corner-bistro", "2027-03-04", "demi-1kg=1")
		w.refuses(lena, "closed at 2027-02-27 18:30|next dispatch day|ORDER_AFTER_CUT_OFF", "order", "place", "corner-bistro", "2027-03-01", "demi-1kg=1")
		w.refuses(lena, "PRODUCT=COUNT", "order", "place", "corner-bistro", "2027-03-05")
		w.refuses(lena, "may only use outlets/corner-bistro", "order", "place", "harbour-grill", "2027-03-04", "demi-1kg=1")
		w.refuses(nora, "outlet nowhere does not exist", "order", "place", "nowhere", "2027-03-05", "demi-1kg=1")
		w.refuses(ada, "it is for: manager, outlet", "order", "place", "corner-bistro", "2027-03-05", "demi-1kg=1")
		w.refuses(lena, "order corner-bistro/o-9 does not exist", "order", "change", "corner-bistro/o-9", "demi-1kg=1")
		w.refuses(nora, "fields are dispatch_date, state", "order", "list", "--filter", "colour = 2")
	})
	// Two people change the order that both have looked at: the second is told.
	var seen struct{ Etag string }
	err := json.Unmarshal([]byte(w.does(lena, "etag", "order", "show", "corner-bistro/o-1", "-o", "json")), &seen)
	if err != nil {
		w.t.Fatal(err)
	}
	w.does(nora, "22", "order", "change", "corner-bistro/o-1", "chicken-stock-2500g=22", "--etag", seen.Etag)
	w.refusing(func() {
		w.refuses(lena, "was changed since you read it: read it again", "order", "change", "corner-bistro/o-1", "chicken-stock-2500g=24", "--etag", seen.Etag)
		w.refuses(lena, "was changed since you read it: read it again", "order", "cancel", "corner-bistro/o-1", "--etag", seen.Etag)
	})
	w.does(lena, "20", "order", "change", "corner-bistro/o-1", "chicken-stock-2500g=20")
	w.does(lena, "corner-bistro/o-1", "order", "list")
}

func (w *week) planning() {
	w.refusing(func() {
		w.refuses(lena, "it is for: manager", "plan", "make", "2027-03-01", "5")
		w.refuses(nora, "number of days", "plan", "make", "2027-03-01", "x")
		w.refuses(nora, "service level: must be from 0.5 to 0.999", "plan", "make", "2027-03-01", "5", "--service-level", "7")
		w.does(nora, "chicken-stock|Short:", "plan", "make", "2027-03-01", "5", "--preview")
	})
	w.does(nora, "Plan w9, from 2027-03-01 until before 2027-03-06, draft|Purchases", "plan", "make", "2027-03-01", "5", "--id", "w9")
	w.refusing(func() {
		w.refuses(ada, "it is for: manager", "plan", "release", "w9")
		w.refuses(nora, "plan w10 does not exist", "plan", "release", "w10")
		w.refuses(nora, "release a plan", "schedule", "solve", "w9")
	})
	w.does(nora, "released", "plan", "release", "w9")
	w.refusing(func() {
		w.refuses(nora, "is released: only a draft", "plan", "release", "w9")
	})
	w.until(ezra, "hollin-vale", "delivery", "list")
	w.until(nora, "Kettle", "schedule", "solve", "w9", "--iterations", "500")
	schedule := w.first(nora, "schedule", "state = DRAFT")
	w.refusing(func() {
		w.refuses(ada, "it is for: manager", "schedule", "publish", schedule)
		w.refuses(nora, "schedule nosuch does not exist", "schedule", "publish", "nosuch")
	})
	w.does(nora, "published|do not replace", strings.Fields("schedule publish "+schedule)...)
	w.until(ada, "planned", "next")
}

func (w *week) receiving() {
	greens := w.first(ezra, "delivery", `supplier = "sites/quayside/suppliers/grantham-produce"`)
	bones := w.first(ezra, "delivery", `supplier = "sites/quayside/suppliers/hollin-vale"`)
	w.at("2027-03-02 07:00")
	w.refusing(func() {
		w.refuses(ezra, "expected too: celery, herb-sachets, onions|--missing", "delivery", "receive", greens, "carrots=10kg")
		w.refuses(ezra, "negative", "delivery", "expect", "hollin-vale", "2027-03-02", "veal-bones=-20kg")
		w.refuses(ezra, "supplier nobody does not exist", "delivery", "expect", "nobody", "2027-03-02", "veal-bones=20kg")
	})
	w.does(ezra, "accepted|9.8", "delivery", "receive", greens, "carrots=10kg", "celery=5kg", "herb-sachets=1kg", "onions=9.8kg")
	w.does(ezra, "expected", "delivery", "expect", "hollin-vale", "2027-03-03", "veal-bones=40kg", "--id", "extra")
	w.at("2027-03-03 06:45")
	w.refusing(func() {
		w.refuses(ezra, "measure the temperature|5 °C", "delivery", "receive", bones, "chicken-bones=74kg")
		w.refuses(ezra, "temperature: must be from -60 to 100", "delivery", "receive", bones, "chicken-bones=74kg@500C")
		w.refuses(ezra, "negative", "delivery", "receive", bones, "chicken-bones=-74kg@3C")
		w.refuses(ezra, "Wed 2027-03-03 09:00 has not come yet", "delivery", "receive", bones, "chicken-bones=74kg@3C", "--at", "2027-03-03T09:00")
		w.refuses(ezra, "not expected with this delivery|--extra", "delivery", "receive", bones, "veal-bones=74kg@3C")
		w.refuses(ezra, "not a day", "delivery", "receive", bones, "chicken-bones=74kg@3C,best-before=soon")
		w.refuses(ezra, "lot=CODE", "delivery", "receive", bones, "chicken-bones=74kg@3C,colour=red")
		w.refuses(ezra, "delivery nosuch does not exist", "delivery", "receive", "nosuch", "veal-bones=74kg@3C")
		w.refuses(june, "it is for: manager, receiver", "delivery", "receive", bones, "chicken-bones=74kg@3C")
	})
	w.does(ezra, "HV-77|accepted", "delivery", "receive", bones, "chicken-bones=74kg@3C,lot=HV-77,best-before=2027-03-06", "--document", "HV-1")
	w.refusing(func() {
		w.refuses(ezra, "received already", "delivery", "receive", bones, "chicken-bones=74kg@3C")
	})
	w.does(ezra, "rejected|9 °C is above the limit of 5 °C", "delivery", "receive", "extra", "veal-bones=40kg@9C")
	w.until(iris, "receiving temperature", "deviation", "list")
	w.does(ezra, "chicken-bones|74", "stock", "chicken-bones")
}

func (w *week) cooking(stock string) {
	simmer := stock + "/simmer"
	w.at("2027-03-03 07:00")
	w.does(ada, "Bring up slowly|chill-tank", "batch", "show", stock)
	w.refusing(func() {
		w.refuses(ada, "too little in stock|receive more", "batch", "reserve", stock, "chicken-bones=600kg")
		w.refuses(ada, "batch nosuch does not exist", "batch", "reserve", "nosuch", "chicken-bones=6kg")
		w.refuses(ada, "batch nosuch does not exist", "batch", "consume", "nosuch/simmer", "chicken-bones=6kg")
		w.refuses(ada, "nosuch does not exist", "batch", "consume", stock+"/nosuch", "chicken-bones=6kg")
	})
	w.does(ada, "60", "batch", "reserve", stock, "chicken-bones=60kg", "onions=4.8kg")
	w.does(ada, "water|112|r-", "batch", "consume", simmer, "chicken-bones=60kg", "onions=4.8kg", "water=112kg", "carrots=2.4kg", "celery=2.4kg", "herb-sachets=0.24kg")
	w.refusing(func() {
		w.refuses(ada, "14 kg can be had", "batch", "consume", simmer, "chicken-bones=600kg")
		w.refuses(ada, "negative", "batch", "consume", simmer, "chicken-bones=-6kg")
		w.refuses(ada, "lot nosuch does not exist", "batch", "consume", simmer, "chicken-bones=6kg@nosuch")
		w.refuses(ada, "vessel nosuch does not exist", "run", "start", simmer, "--vessel", "nosuch")
		w.refuses(ada, "nosuch does not exist", "run", "start", stock+"/nosuch")
		w.refuses(ada, "Record its start and finish first", "run", "start", stock+"/chill")
		w.refuses(ada, "Wed 2027-03-03 12:00 lies in the future", "run", "start", simmer, "--at", "2027-03-03T12:00")
		w.refuses(june, "it is for: manager, cook", "run", "start", simmer)
	})
	w.does(ada, "running|kettle", "run", "start", simmer, "--request-id", "st-1")
	w.until(ada, "in progress", "batch", "list")
	w.at("2027-03-03 08:00")
	w.refusing(func() {
		w.does(ada, "running", "run", "start", simmer, "--request-id", "st-1") // sent again
		w.refuses(ada, "running already since Wed 2027-03-03 07:00, started by ada", "run", "start", simmer)
		w.refuses(ada, "temperature: must be from -60 to 300", "run", "record", simmer, "temperature=500C")
		w.refuses(ada, "finite", "run", "record", simmer, "temperature=NaN")
		w.refuses(ada, "mass: must be from 0", "run", "record", simmer, "mass=-3")
		w.refuses(ada, "lies in the future", "run", "record", simmer, "temperature=95C", "--at", "2027-03-03T12:00")
		w.refuses(ada, "'check=fat has set: yes'", "run", "record", simmer, "check=skimmed")
	})
	w.does(ada, "95|0.41", "run", "record", simmer, "temperature=95C", "level=41cm")
	w.does(ada, "Wed 2027-03-03 12:00|was measured at Wed 2027-03-03 08:00", "run", "forecast", simmer)
	w.does(ada, "running|EXPECTED FINISH TIME", "next")
	w.at("2027-03-03 11:45")
	w.refusing(func() {
		w.refuses(ada, "negative", "run", "finish", simmer, "chicken-stock=-3kg")
		w.refuses(ada, "before it was started at Wed 2027-03-03 07:00", "run", "finish", simmer, "--at", "2027-03-03T06:00")
	})
	w.does(ada, "finished", "run", "finish", simmer)
	w.refusing(func() {
		w.refuses(ada, "finished already", "run", "finish", simmer)
	})
	w.does(ada, "running", "run", "start", stock+"/strain")
	w.at("2027-03-03 12:25")
	w.does(ada, "finished|79", "run", "finish", stock+"/strain", "chicken-stock=79kg")
}

func (w *week) chilling(stock string) {
	w.does(ada, "running|us-food-code-2022", "run", "start", stock+"/chill")
	w.until(ada, "in progress", "chill", "list")
	chill := w.first(ada, "chill", "state = IN_PROGRESS")
	// The cook takes the watch over that began with the run.
	w.does(ada, "Wed 2027-03-03 14:25|Wed 2027-03-03 18:25|ada", "chill", "start", stock+"/chill", "chill-tank")
	w.does(ada, "85", "chill", "reading", chill, "probe-tank", "85C")
	w.refusing(func() {
		w.refuses(ada, "which no probe in food shows; check the probe", "chill", "reading", chill, "probe-tank", "500C")
		w.refuses(ada, "Wed 2027-03-03 18:00 lies|in the future", "chill", "reading", chill, "probe-tank", "80C", "--at", "2027-03-03T18:00")
		w.refuses(ada, "probe nosuch does not exist", "chill", "reading", chill, "nosuch", "80C")
		w.refuses(ada, "chill nosuch does not exist", "chill", "reading", "nosuch", "probe-tank", "80C")
		w.refuses(ada, "CHILL PROBE TEMPERATURE", "chill", "reading", chill)
		w.refuses(june, "it is for: manager, cook, safety_lead", "chill", "reading", chill, "probe-tank", "80C")
	})
	w.at("2027-03-03 13:25")
	rows := "chill,probe,time,temperature\nC,probe-tank,2027-03-03T12:45,70C\nC,probe-tank,2027-03-03T13:10,45C\nC,probe-tank,2027-03-03T19:10,45C\nC,probe-tank,2027-03-03T13:12,900C\nC,probe-tank,2027-03-03T13:20,30C\n"
	file := filepath.Join(w.t.TempDir(), "readings.csv")
	w.write(file, strings.ReplaceAll(rows, "C,", chill+","))
	out, errOut, status := w.say(ada, "chill", "feed", file)
	w.wants(out, "kept 3 readings, 0 were known already|line 4 is refused|Wed 2027-03-03 19:10|line 5 is refused: 900", []string{"feed"})
	if status == 0 || !strings.Contains(errOut, "2 of 5 readings were refused") {
		w.t.Errorf("status %d: %s", status, errOut)
	}
	w.refusing(func() {
		out, _, _ := w.say(ada, "chill", "feed", file)
		w.wants(out, "kept 0 readings, 3 were known already", []string{"feed again"})
		w.write(file, chill+",probe-tank,2027-03-03T13:22,28C\n"+chill+",probe-tank,yesterday,27C\n")
		w.refuses(ada, `line 2: "yesterday" is not a moment`, "chill", "feed", file)
	})
	w.does(ada, "will reach it at|limit |in time with|Newton", "chill", "forecast", chill)
	w.does(nora, "likely log10|upper log10|verdict|missed stays missed", "chill", "growth", chill, "--ph", "6.1", "--salt", "0.6%")
	w.refuses(ada, "is not a number", "chill", "growth", chill, "--ph", "sour")
	w.at("2027-03-03 14:45")
	w.does(ada, "late entry", "chill", "reading", chill, "probe-tank", "15C", "--at", "2027-03-03T14:00")
	w.refusing(func() {
		w.refuses(ada, "not finished yet|Keep chilling", "chill", "finish", chill)
	})
	w.does(ada, "4 °C", "chill", "reading", chill, "probe-tank", "4C")
	w.does(ada, "Wed 2027-03-03 13:10|85.1", "chill", "readings", chill)
	w.does(ada, "passed|met after 2h", "chill", "finish", chill)
	w.refusing(func() {
		w.refuses(ada, "is passed: it was finished already", "chill", "finish", chill)
	})
	w.does(ada, "finished", "run", "finish", stock+"/chill", "chicken-stock=79kg")
}

// booking makes the lots of the stock and closes its books.
func (w *week) booking(stock string) (bulk string) {
	w.at("2027-03-04 05:30")
	w.does(ada, "running", "run", "start", stock+"/defat")
	w.does(ada, "rendered-fat", "run", "finish", stock+"/defat", "chicken-stock=77kg", "rendered-fat=1.6kg")
	w.refusing(func() {
		w.refuses(ada, "negative", "batch", "produce", stock+"/defat", "chicken-stock=-77kg")
		w.refuses(ada, "location nosuch does not exist", "batch", "produce", stock+"/defat", "chicken-stock=77kg,to=nosuch")
	})
	w.does(ada, "chicken-stock|rendered-fat|77", "batch", "produce", stock+"/defat", "chicken-stock=77kg,to=walk-in", "rendered-fat=1.6kg")
	w.refusing(func() {
		w.refuses(ada, "does not balance|103.24 kg is unexplained", "batch", "close", stock)
		w.refuses(ada, "the losses are evaporation, strained solids", "batch", "close", stock, "spilt=3")
		w.refuses(ada, "negative", "batch", "close", stock, "evaporation=-10kg")
	})
	w.does(ada, "strained solids|99.32 %|closed", "batch", "close", stock, "evaporation=25kg", "strained-solids=77kg")
	w.refusing(func() {
		w.refuses(ada, "were closed at Thu 2027-03-04 05:30", "batch", "close", stock)
	})
	bulk = w.first(ada, "lot", `item = "sites/quayside/items/chicken-stock"`)
	w.until(iris, "not released", "check", bulk)
	w.refusing(func() {
		w.refuses(ada, "it is for: safety_lead", "release", "sign", bulk)
		w.refuses(nora, "it is for: safety_lead", "release", "sign", bulk)
		w.refuses(iris, "nosuch is not known", "release", "sign", "nosuch")
		w.does(iris, "I reviewed the records", "release", "sign", bulk, "--preview")
	})
	w.does(iris, "iris|ada", "release", "sign", bulk, "--note", "curve read")
	w.refusing(func() {
		w.refuses(paul, "released already by iris", "release", "sign", bulk)
	})
	return bulk
}

func (w *week) packing(batch, bulk string) (lot, container string) {
	w.until(ada, "yes", "lot", "list", "--filter", "released = true")
	w.does(ada, "running", "run", "start", batch+"/portion")
	w.refusing(func() {
		w.refuses(ada, "negative", "pack", batch+"/portion", "chicken-stock-2500g", "-3", "--from", bulk+"=76kg")
		w.refuses(ada, "77 kg can be had", "pack", batch+"/portion", "chicken-stock-2500g", "30", "--from", bulk+"=7600kg")
		w.refuses(ada, "lot nosuch does not exist", "pack", batch+"/portion", "chicken-stock-2500g", "30", "--from", "nosuch=76kg")
		w.refuses(ada, "batch nosuch does not exist", "pack", "nosuch", "chicken-stock-2500g", "30", "--from", bulk+"=76kg")
	})
	w.does(ada, "2027-08-31|1 kg were taken and are in no pack", "pack", batch+"/portion", "chicken-stock-2500g", "30", "--from", bulk+"=76kg")
	w.does(ada, "finished", "run", "finish", batch+"/portion", "chicken-stock-2500g=75kg")
	lot = w.first(ada, "lot", `item = "sites/quayside/items/chicken-stock-2500g"`)
	container = w.first(ada, "container", "state = PACKED")
	w.does(ada, "STOP|is not released", "scan", container)
	w.refusing(func() {
		w.refuses(ada, "no container", "scan", "(01)09521234001041(21)nosuch")
		w.refuses(ada, "scan again or type the serial", "scan", "rubbish!!")
		w.refuses(nora, "the safety lead must sign its release first", "shipment", "make", "corner-bistro", "--order", "corner-bistro/o-1")
		w.refuses(ada, "container nosuch does not exist", "label", "nosuch")
		w.refuses(ada, "CONTAINER ..., or --lot LOT", "label")
	})
	w.does(ada, "CHICKEN STOCK 2.5 KG|*CELERY*|Best before: 2027-08-31|(01)09521234001041", "label", container)
	if n := strings.Count(w.does(ada, "Serial", "label", "--lot", lot), "Serial: "); n != 30 {
		w.t.Errorf("%d labels of 30 packs", n)
	}
	picture := filepath.Join(w.t.TempDir(), "symbol.png")
	w.does(ada, "symbol of (01)09521234001041", "label", container, "--png", picture)
	file, err := os.Open(picture)
	if err != nil {
		w.t.Fatal(err)
	}
	defer file.Close()
	if _, err = png.Decode(file); err != nil {
		w.t.Errorf("the symbol: %v", err)
	}
	w.does(ada, "running", "run", "start", batch+"/freeze")
	w.at("2027-03-04 11:30")
	w.does(ada, "finished", "run", "finish", batch+"/freeze")
	w.does(ada, "closed", "batch", "close", batch, "packing=1kg")
	w.until(iris, "not released", "check", lot)
	w.does(paul, "paul", "release", "sign", lot)
	w.until(nora, lot, "lot", "list", "--filter", "released = true")
	return lot, container
}

// holding holds packs that are ready to go, decides about them with two persons, and releases them anew.
func (w *week) holding(lot, container string) {
	w.refusing(func() {
		w.refuses(nora, "order corner-bistro/o-9 does not exist", "shipment", "make", "corner-bistro", "--order", "corner-bistro/o-9")
		w.refuses(nora, "outlet nowhere does not exist", "shipment", "make", "nowhere", "chicken-stock-2500g=1")
		w.refuses(nora, "75 kg can be had", "shipment", "make", "corner-bistro", "chicken-stock-2500g=1000")
		w.refuses(iris, "lot nosuch does not exist", "hold", "place", "lots/nosuch", "foil seals look weak")
		w.refuses(iris, "batch nosuch does not exist", "deviation", "open", "batches/nosuch", "foil seals look weak")
		w.refuses(iris, "lots/ID or batches/ID", "hold", "place", lot, "foil seals look weak")
	})
	w.does(nora, "draft|sscc", "shipment", "make", "corner-bistro", "--order", "corner-bistro/o-1", "--id", "s-1")
	w.does(ada, "placed", "hold", "place", "lots/"+lot, "foil seals look weak")
	w.until(ada, "is on hold", "scan", container)
	hold := w.first(iris, "hold", `subject = "sites/quayside/lots/`+lot+`"`)
	w.refusing(func() {
		w.refuses(nora, "nothing was shipped|is on hold|LOT_NOT_SHIPPABLE", "shipment", "dispatch", "s-1")
		w.refuses(ada, "it is for: manager, safety_lead", "hold", "lift", hold, "ok")
		w.refuses(nora, "must not be used: on hold", "shipment", "make", "corner-bistro", "chicken-stock-2500g=1")
	})
	w.does(iris, "open", "deviation", "open", "lots/"+lot, "foil seals look weak", "--no-hold")
	deviation := w.first(iris, "deviation", "kind = MANUAL")
	w.refusing(func() {
		w.refuses(iris, "cannot be lifted while", "hold", "lift", hold, "ok")
		w.refuses(iris, "record a corrective action with a decision first", "deviation", "close", deviation, "looked at")
		w.refuses(iris, "the decisions are reheat and rechill", "deviation", "act", deviation, "eat", "all of it")
	})
	w.does(iris, "action taken", "deviation", "act", deviation, "accept with reason", "10 packs pressed, all tight")
	w.refusing(func() {
		w.refuses(iris, "ask another person", "deviation", "close", deviation, "looked at")
	})
	w.does(paul, "closed", "deviation", "close", deviation, "looked at")
	w.does(paul, "lifted", "hold", "lift", hold, "seals are tight")
	w.at("2027-03-04 12:30")
	w.until(nora, "is not released", "scan", container) // a hold makes the signature void
	w.refusing(func() {
		w.refuses(nora, "is not released", "shipment", "dispatch", "s-1")
	})
	w.does(paul, "paul", "release", "sign", lot, "--note", "seals pressed")
	w.until(nora, lot, "lot", "list", "--filter", "released = true")
}

func (w *week) shipping(container string) {
	w.at("2027-03-05 06:00")
	w.refusing(func() {
		w.refuses(nora, "shipment nosuch does not exist", "shipment", "dispatch", "nosuch")
		w.refuses(lena, "ROLE_NOT_ALLOWED", "shipment", "dispatch", "s-1")
	})
	w.does(nora, "dispatched|Fri 2027-03-05 06:00", "shipment", "dispatch", "s-1")
	w.until(lena, "shipped", "order", "list")
	w.refusing(func() {
		w.refuses("outlet/harbour-grill max", "shipment s-1", "shipment", "receive", "s-1")
	})
	w.at("2027-03-05 06:40")
	w.does(lena, "s-1|dispatched", "shipment", "list")
	w.does(lena, "nothing is known against it", "scan", container)
	w.does(lena, "received|Fri 2027-03-05 06:40", "shipment", "receive", "s-1")
}

func (w *week) proving(stock, container string) {
	bones := w.first(june, "delivery", `supplier = "sites/quayside/suppliers/hollin-vale" AND state = RECEIVED AND document_number = "HV-1"`)
	w.does(june, "hollin-vale|"+stock+"|kettle|ada|passed|delivery "+bones+", 74 kg", "trace", container)
	w.does(june, "30 of Chicken stock 2.5 kg, 75 kg|outlet corner-bistro|shipped container count  20", "trace", "deliveries/"+bones)
	w.refuses(june, "container nosuch does not exist", "trace", "nosuch")
	w.does(june, "hold.placed|hold.lifted|deviation.closed|lot.released|seals are tight", "records")
	w.does(june, "kitchen: 1|chicken-stock", "export")
	for _, kind := range resources { // what a table shows is in the JSON, and JSON is whole
		out := w.does(nora, "", kind.word, "list", "-o", "json")
		if !json.Valid([]byte(out)) {
			w.t.Errorf("%s list gives no JSON:\n%s", kind.word, out)
		}
	}
}

func (w *week) write(path, text string) {
	w.t.Helper()
	err := os.WriteFile(path, []byte(text), 0o600)
	if err != nil {
		w.t.Fatal(err)
	}
}

// A kitchen made by commands alone, from nothing to a solved schedule.
func TestATinyKitchenByCommandsAlone(t *testing.T) {
	w := startWeek(t, "2027-03-04 12:00")
	w.site = "tiny"
	w.refuses(nora, "there is no kitchen tiny", "site", "show")
	w.refuses(nora, "site add tiny", "site", "change", "address=x")
	w.refuses(ada, "it is for: manager", "site", "add", "tiny", "display_name=Tiny Kitchen", "time_zone=America/New_York")
	w.refuses(nora, "Europe/Paris", "site", "add", "tiny", "display_name=Tiny Kitchen", "time_zone=America/Nowhere")
	add := func(want string, words ...string) { t.Helper(); w.does(nora, want, words...) }
	add("Tiny Kitchen", "site", "add", "tiny", "display_name=Tiny Kitchen", "time_zone=America/New_York", "default_cut_off=12h", "delivery_time_of_day=07:00")
	w.refuses(nora, "exists already", "site", "add", "tiny", "display_name=Tiny Kitchen", "time_zone=America/New_York")
	add("Quay 3", "site", "change", "address=Quay 3")
	add("America/New_York", "policy", "change", "time_zone=America/New_York")
	add("22 °C", "limits", "show")
	add("20000 W", "limits", "change", "electric_power=20 kW")
	add("The Farm", "supplier", "add", "farm", "display_name=The Farm")
	add("walk in", "location", "add", "cold", "display_name=Cold room", "kind=walk-in")
	add("5 °C", "item", "add", "bones", "display_name=Bones", "kind=purchased", "storage=chilled", "shelf_life=4 days", "max_receipt_temperature=41F", "purchase={supplier: farm, case_mass: 5 kg, lead_days: 1, delivery_weekdays: [1, 2, 3, 4, 5]}")
	w.refuses(nora, "did you mean", "item", "add", "x", "display_name=X", "kindd=made")
	w.refuses(nora, "is none of purchased, made", "item", "add", "x", "display_name=X", "kind=wild")
	add("utility", "item", "add", "water", "display_name=Water", "kind=utility")
	add("made", "item", "add", "stock", "display_name=Stock", "kind=made", "storage=chilled", "shelf_life=5 days", "density_kg_per_liter=1.01")
	add("1 kg", "item", "add", "stock-1kg", "display_name=Stock 1 kg", "kind=pack", "storage=chilled", "shelf_life=5 days", "net_mass=1 kg")
	add("Days", "calendar", "add", "days", "display_name=Days", "time_zone=America/New_York", "weekly_shifts=[{weekday: monday, start_clock: '06:00', end_clock: '22:00'}, {weekday: tuesday, start_clock: '06:00', end_clock: '22:00'}]")
	add("2", "crew", "add", "all", "display_name=Everybody", "headcount=2", "calendar=days")
	add("120 L", "vessel", "add", "pot", "display_name=Pot", "vessel_class=kettle", "cylinder={diameter: 60 cm, height: 50 cm}", "power=15 kW", "efficiency=0.7", "heat_source=gas", "min_fill=10 L", "max_fill=120 L")
	add("60 kg", "vessel", "add", "chiller", "display_name=Chiller", "vessel_class=blast-chiller", "load_capacity=60kg", "cooling={method: air, medium_temperature: -3 C, heat_transfer_watts_per_square_meter_kelvin: 45, cooling_power: 15 kW, pan_depth: 4 cm}", "unattended_allowed=yes")
	add("filler", "vessel", "add", "jug", "display_name=Filling jug", "vessel_class=filler", "speed_factor=1")
	add("approved", "formula", "add", "stock", "display_name=Stock", "output_item=stock", "base_output=20 kg", "yield_mean_fraction=1",
		"ingredients=[{item: bones, mass: 10 kg, step_id: simmer}, {item: water, mass: 30 kg, step_id: simmer}]",
		"steps=[{step_id: simmer, display_name: Simmer, kind: simmer, vessel_classes: [kettle], simmer: {hold: 3h, start_temperature: 12 C, target_temperature: 96 C}, planning: 4h, attendance: whole, fill_liters_per_kg_output: 2, instructions: Skim.}, {step_id: chill, display_name: Chill, kind: chill, vessel_classes: [blast-chiller], chill: {target_temperature: 4 C, start_temperature: 88 C, depth: 4 cm}, planning: 3h, attendance: start and end, attended_start: 10min, attended_end: 10min, unattended_allowed: yes, load_kg_per_kg_output: 1, limits_profile: us-food-code-2022}]")
	add("bones|simmer: Skim.|us-food-code-2022", "formula", "show", "stock")
	add("Skim.", "formula", "version", "stock/1")
	add("stock", "product", "add", "stock-1kg", "display_name=Stock 1 kg", "item=stock-1kg", "source_item=stock", "net_mass=1 kg", "steps=[{step_id: portion, display_name: Fill, kind: portion, vessel_classes: [filler], rate_kg_per_hour: 60, attendance: whole}]")
	add("wednesday", "outlet", "add", "bar", "display_name=The Bar", "dispatch_weekdays=[wednesday]", "dispatch_time_of_day=08:00")
	w.does("outlet/bar tom", "Tue 2027-03-09 20:00", "order", "place", "bar", "2027-03-10", "stock-1kg=15", "--id", "one")
	w.does("outlet/bar tom", "bar/one", "order", "list")
	add("Purchases|farm", "plan", "make", "2027-03-06", "5", "--id", "p1")
	add("released", "plan", "release", "p1")
	w.until(nora, "every batch is done in time", "schedule", "solve", "p1", "--iterations", "500")
	add("stock-1kg", "export")
	out := w.does(nora, "bar", "__complete", "outlet", "show", "")
	if !strings.HasPrefix(out, "bar\n") {
		t.Errorf("completion offers %q", out)
	}
	add("__start_rondeau", "completion", "bash")
}
