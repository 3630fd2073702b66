// Package page shows a graph to someone who would rather look than read.
//
// Report writes the pictures as one HTML file: a block of time, the banks as
// shelves, the graph by its wires. newView lays them out from an estimate, each
// as marks to scale and as the rows of a table, so that both tell the same
// figures. Server shows the same pictures live: a desk holds the graph with what
// was changed since its file was read, and every change is an edit of the file,
// made by the estimator. The file is read, and written, by the command. The look is a shadow theatre's: what is
// taken is shadow, what is free is light.
package page
