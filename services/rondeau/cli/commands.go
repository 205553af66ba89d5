package cli

import "github.com/spf13/cobra"

// addCommands puts every command under its heading.
func (a *app) addCommands(root *cobra.Command) {
	group(root, "suite",
		a.upCommand(), a.serveCommand(), a.demoCommand(), a.statusCommand(), a.importCommand(), a.exportCommand(),
		a.tokenCommand(), a.keysCommand(), a.replayCommand(), a.parkedCommand(), a.benchCommand())
	group(root, "predict", a.predictCommand())
	by := a.resourceCommands(root)
	a.orderCommands(by["order"])
	a.planCommands(by["plan"], by["batch"])
	a.scheduleCommands(by["schedule"])
	a.shipmentCommands(by["shipment"])
	a.deliveryCommands(by["delivery"])
	a.lotCommands(by["lot"])
	a.runCommands(by["run"])
	a.batchStockCommands(by["batch"])
	a.vesselCommands(by["vessel"])
	a.chillCommands(by["chill"])
	a.deviationCommands(by["deviation"], by["hold"], by["release"])
	group(root, "plan", a.availableCommand())
	group(root, "receive", a.stockCommand())
	group(root, "cook", a.nextCommand(), a.packCommand(), a.labelCommand(), a.scanCommand())
	group(root, "safety", a.traceCommand(), a.checkCommand(), a.recordCommand())
	by["formula"].AddCommand(a.versionCommand())
	group(root, "kitchen", append(a.policyCommands(), a.siteCommand())...)
}
