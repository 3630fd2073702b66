// Package page shows a graph to someone who would rather look than read.
//
// Report writes the pictures as one HTML file: a block of time, the banks as
// shelves, the graph by its wires. newView lays them out from an estimate, each
// as marks to scale and as the rows of a table, so that both tell the same
// figures; nothing is estimated here. The look is a shadow theatre's: what is
// taken is shadow, what is free is light.
package page
